//! The `wearbook` command: parse, call one command, exit with its code.

use std::process::ExitCode;

fn main() -> ExitCode {
    wearbook::command::main()
}
