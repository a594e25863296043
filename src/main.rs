/// Pages are made of many short texts and lists: it hands them out faster than the system's, and
/// gives memory back after a large review, which the system's keeps.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    glebe::cli::main()
}
