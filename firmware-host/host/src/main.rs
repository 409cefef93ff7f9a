//! The `coilrig` program.

fn main() -> std::process::ExitCode {
    coilrig::commands::run()
}
