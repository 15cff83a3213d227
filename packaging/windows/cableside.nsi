; The installer for Windows: into the user's own folder, so that nobody needs an administrator.
; Made by scripts/package: makensis -DVERSION=.. -DFOLDER=.. -DOUT=.. packaging/windows/cableside.nsi
Unicode true
; The program is a 64-bit one, and so is what puts it there.
Target amd64-unicode
ManifestDPIAware true
Name "Cableside"
OutFile "${OUT}"
InstallDir "$LOCALAPPDATA\Programs\Cableside"
RequestExecutionLevel user
Icon "../icon/cableside.ico"
UninstallIcon "../icon/cableside.ico"
SetCompressor /SOLID lzma
SetDateSave off
LoadLanguageFile "${NSISDIR}/Contrib/Language files/English.nlf"
LoadLanguageFile "${NSISDIR}/Contrib/Language files/German.nlf"
LangString KEPT ${LANG_ENGLISH} "The logbook, recordings and own sites stay in: $APPDATA\cableside. Delete that folder yourself if you want them gone."
LangString KEPT ${LANG_GERMAN} "Logbuch, Aufnahmen und eigene Plätze bleiben in: $APPDATA\cableside. Lösche diesen Ordner selbst, wenn sie weg sollen."
VIProductVersion "${VERSION}.0"
VIAddVersionKey /LANG=${LANG_ENGLISH} "ProductName" "Cableside"
VIAddVersionKey /LANG=${LANG_ENGLISH} "FileDescription" "Cableside, installer"
VIAddVersionKey /LANG=${LANG_ENGLISH} "FileVersion" "${VERSION}"
VIAddVersionKey /LANG=${LANG_ENGLISH} "LegalCopyright" "Apache-2.0"
Page directory
Page instfiles
UninstPage uninstConfirm
UninstPage instfiles
!define KEY "Software\Microsoft\Windows\CurrentVersion\Uninstall\Cableside"

Section
    SetOutPath "$INSTDIR"
    File /r "${FOLDER}/*"
    CreateShortcut "$SMPROGRAMS\Cableside.lnk" "$INSTDIR\Cableside.exe"
    ; Files of the program's own are opened by a double click.
    WriteRegStr HKCU "Software\Classes\.cableside" "" "Cableside.File"
    WriteRegStr HKCU "Software\Classes\Cableside.File" "" "Cableside"
    WriteRegStr HKCU "Software\Classes\Cableside.File\DefaultIcon" "" "$INSTDIR\Cableside.exe"
    WriteRegStr HKCU "Software\Classes\Cableside.File\shell\open\command" "" '"$INSTDIR\Cableside.exe" "%1"'
    ; The file manager is told (SHCNE_ASSOCCHANGED).
    System::Call 'shell32::SHChangeNotify(i 0x08000000, i 0, p 0, p 0)'
    WriteUninstaller "$INSTDIR\uninstall.exe"
    WriteRegStr HKCU "${KEY}" "DisplayName" "Cableside"
    WriteRegStr HKCU "${KEY}" "DisplayVersion" "${VERSION}"
    WriteRegStr HKCU "${KEY}" "DisplayIcon" "$INSTDIR\Cableside.exe"
    WriteRegStr HKCU "${KEY}" "UninstallString" '"$INSTDIR\uninstall.exe"'
    WriteRegDWORD HKCU "${KEY}" "NoModify" 1
    WriteRegDWORD HKCU "${KEY}" "NoRepair" 1
SectionEnd

; Only what was installed; a folder "data" that somebody made there stays.
Section Uninstall
    Delete "$SMPROGRAMS\Cableside.lnk"
    Delete "$INSTDIR\Cableside.exe"
    Delete "$INSTDIR\*.txt"
    Delete "$INSTDIR\CHANGELOG.md"
    Delete "$INSTDIR\DATA.md"
    Delete "$INSTDIR\LICENSE"
    Delete "$INSTDIR\LICENCES-RUST.html"
    RMDir /r "$INSTDIR\bin"
    RMDir /r "$INSTDIR\models"
    RMDir /r "$INSTDIR\phrases"
    Delete "$INSTDIR\uninstall.exe"
    RMDir "$INSTDIR"
    DeleteRegKey HKCU "${KEY}"
    DeleteRegKey HKCU "Software\Classes\Cableside.File"
    ; Another program may have taken the files over.
    ReadRegStr $0 HKCU "Software\Classes\.cableside" ""
    StrCmp $0 "Cableside.File" 0 +2
    DeleteRegKey HKCU "Software\Classes\.cableside"
    System::Call 'shell32::SHChangeNotify(i 0x08000000, i 0, p 0, p 0)'
    MessageBox MB_OK|MB_ICONINFORMATION "$(KEPT)" /SD IDOK
SectionEnd
