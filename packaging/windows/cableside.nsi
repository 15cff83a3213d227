; The installer for Windows: into the user's own folder, so that nobody needs an administrator.
; Made by scripts/package: makensis -DVERSION=.. -DFOLDER=.. -DOUT=.. packaging/windows/cableside.nsi
Unicode true
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
    Delete "$INSTDIR\LICENSE"
    RMDir /r "$INSTDIR\bin"
    RMDir /r "$INSTDIR\models"
    RMDir /r "$INSTDIR\phrases"
    Delete "$INSTDIR\uninstall.exe"
    RMDir "$INSTDIR"
    DeleteRegKey HKCU "${KEY}"
    MessageBox MB_OK|MB_ICONINFORMATION "$(KEPT)" /SD IDOK
SectionEnd
