//! The synthesiser's C library, held so that everything it opened is closed again.
//!
//! The crate that wraps it in safe types never disposes of an engine: the engine's two files stay open for good, which on
//! Windows keeps them from being removed, and after some hundreds of cancelled lines no more can be opened. So the few calls
//! that are needed are made here.
#![allow(unsafe_code, reason = "calls of a C library")]

use std::ffi::{CStr, CString, c_char, c_void};
use std::path::PathBuf;
use std::ptr;

use ttspico_sys as pico;

use super::VoiceError;

/// Memory for one voice, bytes: its two files (about 1.1 MB) and as much again to work with.
const MEMORY: usize = 4 << 20;
/// Lent as numbers of 16 bytes, which is how the library wants it aligned.
const PIECE: usize = size_of::<u128>();
/// What the voice is called among the library's own names.
const VOICE: &CStr = c"cableside";

/// Whether more sound comes from the text so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Status {
    /// All of it is spoken.
    Idle,
    /// More comes.
    Busy,
}

/// An engine with one voice. Its handles are not made for other threads, and the pointers keep it on its own.
pub(super) struct Engine {
    system: pico::pico_System,
    resources: Vec<pico::pico_Resource>,
    voice: bool,
    speaking: pico::pico_Engine,
    /// What the library works in. It goes last, and its place does not change.
    memory: Vec<u128>,
}

impl Engine {
    /// Reads the voice's files: of the analysis of the text, and of the signal.
    pub(super) fn load(files: &[PathBuf; 2]) -> Result<Self, VoiceError> {
        let mut new = Self {
            system: ptr::null_mut(),
            resources: Vec::new(),
            voice: false,
            speaking: ptr::null_mut(),
            memory: vec![0; MEMORY / PIECE],
        };
        // SAFETY: the memory is as long and as aligned as the library is told, and lives in `new` until all handles are given
        // back (moving the `Vec` leaves the numbers where they are). Names end with a zero. Each handle is used only after
        // the call that makes it has succeeded; the engine is made when both kinds of resource are added to the voice.
        unsafe {
            let memory = new.memory.as_mut_ptr().cast::<c_void>();
            let code = pico::pico_initialize(memory, MEMORY as u32, &raw mut new.system);
            new.checked(code)?;
            let code = pico::pico_createVoiceDefinition(new.system, VOICE.as_ptr().cast());
            new.checked(code)?;
            new.voice = true;
            for file in files {
                let path = file.to_str().and_then(|path| CString::new(path).ok());
                let path = path.ok_or_else(|| VoiceError::Engine {
                    detail: format!("it cannot read from a folder with such a name: {}", file.display()),
                })?;
                let mut resource = ptr::null_mut();
                let code = pico::pico_loadResource(new.system, path.as_ptr().cast(), &raw mut resource);
                new.checked(code)?;
                new.resources.push(resource);
                let mut name = [c_char::default(); pico::PICO_MAX_RESOURCE_NAME_SIZE];
                let code = pico::pico_getResourceName(new.system, resource, name.as_mut_ptr());
                new.checked(code)?;
                let code =
                    pico::pico_addResourceToVoiceDefinition(new.system, VOICE.as_ptr().cast(), name.as_ptr().cast());
                new.checked(code)?;
            }
            let code = pico::pico_newEngine(new.system, VOICE.as_ptr().cast(), &raw mut new.speaking);
            new.checked(code)?;
        }
        Ok(new)
    }

    /// Hands over text in UTF-8, a zero at its end; returns how many bytes were taken.
    pub(super) fn put(&mut self, text: &[u8]) -> Result<usize, VoiceError> {
        let length = i16::try_from(text.len()).unwrap_or(i16::MAX);
        let mut taken = 0_i16;
        // SAFETY: the engine is there, and the text is at least as long as the library is told.
        let code = unsafe { pico::pico_putTextUtf8(self.speaking, text.as_ptr().cast(), length, &raw mut taken) };
        self.checked(code)?;
        Ok(usize::try_from(taken).unwrap_or(0))
    }

    /// Works for a moment; returns how many samples (16 kHz) are in the block now.
    pub(super) fn step(&mut self, block: &mut [i16]) -> Result<(usize, Status), VoiceError> {
        let length = i16::try_from(size_of_val(block)).unwrap_or(i16::MAX - 1);
        let (mut bytes, mut kind) = (0_i16, 0_i16);
        // SAFETY: the engine is there, and the block has at least as many bytes as the library is told.
        let code = unsafe {
            let to = block.as_mut_ptr().cast::<c_void>();
            pico::pico_getData(self.speaking, to, length, &raw mut bytes, &raw mut kind)
        };
        let count = usize::try_from(bytes).unwrap_or(0) / size_of::<i16>();
        match code {
            pico::PICO_STEP_BUSY => Ok((count, Status::Busy)),
            pico::PICO_STEP_IDLE => Ok((count, Status::Idle)),
            other => Err(self.failed(other)),
        }
    }

    fn checked(&self, code: pico::pico_Status) -> Result<(), VoiceError> {
        if code == pico::PICO_OK {
            Ok(())
        } else {
            Err(self.failed(code))
        }
    }

    /// What the library says of its error.
    fn failed(&self, code: pico::pico_Status) -> VoiceError {
        let mut text = [c_char::default(); pico::PICO_RETSTRINGSIZE];
        // SAFETY: the text has the room that the library asks for and ends with a zero even if nothing is written.
        let said = unsafe {
            if !self.speaking.is_null() {
                pico::pico_getEngineStatusMessage(self.speaking, code, text.as_mut_ptr());
            } else if !self.system.is_null() {
                pico::pico_getSystemStatusMessage(self.system, code, text.as_mut_ptr());
            }
            CStr::from_ptr(text.as_ptr()).to_string_lossy().into_owned()
        };
        VoiceError::Engine {
            detail: if said.is_empty() { format!("error {code}") } else { said },
        }
    }
}

impl Drop for Engine {
    fn drop(&mut self) {
        if self.system.is_null() {
            return;
        }
        // SAFETY: in the order that the library asks for, each handle once: what uses the files goes before the files.
        unsafe {
            if !self.speaking.is_null() {
                pico::pico_disposeEngine(self.system, &raw mut self.speaking);
            }
            if self.voice {
                pico::pico_releaseVoiceDefinition(self.system, VOICE.as_ptr().cast());
            }
            for resource in &mut self.resources {
                pico::pico_unloadResource(self.system, resource);
            }
            pico::pico_terminate(&raw mut self.system);
        }
    }
}
