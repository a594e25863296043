//! The pages, one module to a family; each mirrors a folder or file of `templates/pages`.

pub mod amendments;
pub mod applications;
pub mod files;
pub mod guidelines;
pub mod history;
pub mod home;
pub mod lime;
pub mod lines;
pub mod metals;
pub mod next;
pub mod nitrogen;
pub mod opinions;
pub mod people;
pub mod plan_form;
pub mod plan_prints;
pub mod plans;
pub mod plot;
pub mod plots;
pub mod reports;
pub mod salts;
pub mod samplings;
pub mod seasons;
pub mod setup;
pub mod sign_in;
pub mod sites;
pub mod trend;
