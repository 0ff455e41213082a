//! The command line program.

fn main() -> std::process::ExitCode {
    antiphon::cli::run()
}
