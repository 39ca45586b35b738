//! The program: see [`fociline::cli`].

use std::process::ExitCode;

fn main() -> ExitCode {
    fociline::cli::main()
}
