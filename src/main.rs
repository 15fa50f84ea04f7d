//! Arguments to a window or a command; an error becomes one sentence and an exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::SUCCESS
}
