//! What is measured, and printed: `cargo bench --bench bench`, or a part of it by name,
//! `cargo bench --bench bench -- pages`.

mod gardens;
mod pages;
mod planner;
mod reference;

/// As in the program itself.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() {
    let named: Vec<String> = std::env::args().skip(1).filter(|argument| !argument.starts_with('-')).collect();
    let wanted = |part: &str| named.is_empty() || named.iter().any(|name| name == part);
    if wanted("pages") {
        pages::run();
    }
    if wanted("planner") {
        planner::run();
    }
    if wanted("reference") {
        reference::run();
    }
}
