//! Writing to the terminal or a pipe: lines out at once, a closed pipe is no error, complaints go
//! to stderr in one sentence.

use std::io::{self, ErrorKind, Write};

use serde::Serialize;

/// Standard output, a line at a time.
pub struct Out {
    inner: io::StdoutLock<'static>,
}

impl Out {
    /// Standard output.
    #[must_use]
    pub fn new() -> Self {
        Self {
            inner: io::stdout().lock(),
        }
    }

    /// Writes a line and passes it on at once.
    ///
    /// # Errors
    /// What the system says; see [`is_closed_pipe`].
    pub fn line(&mut self, line: &str) -> io::Result<()> {
        // One write a line, so that lines of several writers do not mix.
        let mut bytes = Vec::with_capacity(line.len() + 1);
        bytes.extend_from_slice(line.as_bytes());
        bytes.push(b'\n');
        self.inner.write_all(&bytes)?;
        self.inner.flush()
    }

    /// Writes an object as one line of JSON.
    ///
    /// # Errors
    /// What the system says; see [`is_closed_pipe`].
    pub fn json_line(&mut self, object: &impl Serialize) -> io::Result<()> {
        self.line(&serde_json::to_string(object).map_err(io::Error::other)?)
    }

    /// Writes an object as JSON over several lines.
    ///
    /// # Errors
    /// What the system says; see [`is_closed_pipe`].
    pub fn json(&mut self, object: &impl Serialize) -> io::Result<()> {
        self.line(&serde_json::to_string_pretty(object).map_err(io::Error::other)?)
    }
}

impl Default for Out {
    fn default() -> Self {
        Self::new()
    }
}

/// Whether the error is that nobody reads our output any more.
#[must_use]
pub fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error
        .downcast_ref::<io::Error>()
        .is_some_and(|error| error.kind() == ErrorKind::BrokenPipe)
}

/// One sentence on stderr, with the name of the program before it.
pub fn complain(words: &str) {
    // With stderr closed there is nobody left to tell.
    let _ = writeln!(io::stderr().lock(), "beadtally: {words}");
}
