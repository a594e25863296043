fn main() -> std::process::ExitCode {
    glebe::cli::main()
}
