//! What can go wrong in printing.

/// Why nothing can be printed. Both are faults of the program itself.
#[derive(Debug, thiserror::Error)]
pub enum PrintError {
    /// The font in the program cannot be read.
    #[error("the font inside the program cannot be read; the program's file is damaged: install it again")]
    Font,
    /// The PDF library refused.
    #[error("the PDF could not be made: {0}")]
    Pdf(String),
}
