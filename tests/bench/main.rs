//! What is measured, and printed: `cargo bench --bench bench`.

mod planner;

fn main() {
    planner::run();
}
