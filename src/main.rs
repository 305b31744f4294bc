//! The `halfsplit` program.

fn main() -> std::process::ExitCode {
    halfsplit::cli::run()
}
