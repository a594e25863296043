//! The readable history: one line per change, written with the change or not at all.

use super::{Result, Write, values::Time};
use crate::ids::*;
use jiff::Timestamp;
use sqlx::SqliteConnection;

macro_rules! subjects {
    ($($(#[$doc:meta])* $name:ident($id:ty) $key:literal),* $(,)?) => {
        /// What a line of history is about.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Subject { $($(#[$doc])* $name($id)),* }

        impl Subject {
            /// The key in the record.
            pub const fn key(self) -> &'static str {
                match self { $(Subject::$name(_) => $key),* }
            }

            /// The row's number.
            pub const fn id(self) -> i64 {
                match self { $(Subject::$name(id) => id.0),* }
            }
        }
    };
}

subjects! {
    Person(PersonId) "person",
    Site(SiteId) "site",
    Block(BlockId) "block",
    Plot(PlotId) "plot",
    Sampling(SamplingId) "sampling",
    Report(ReportId) "report",
    Determination(DeterminationId) "determination",
    Attachment(AttachmentId) "attachment",
    Amendment(AmendmentId) "amendment",
    Season(SeasonId) "season",
    Cropping(CroppingId) "cropping",
    Plan(PlanId) "plan",
    Application(ApplicationId) "application",
    Harvest(HarvestId) "harvest",
    Guideline(GuidelineId) "guideline",
    /// What somebody saw on a plot.
    Note(NoteId) "note",
}

/// A line of history about to be written.
#[derive(Clone, Debug)]
pub struct Change {
    /// What was changed.
    pub subject: Subject,
    /// One word: added, edited, voided, agreed.
    pub verb: &'static str,
    /// A whole sentence for people, without the who and when.
    pub summary: String,
    /// Old and new values, for whoever needs them.
    pub detail: serde_json::Value,
}

impl Change {
    /// A change without further detail.
    pub fn new(subject: Subject, verb: &'static str, summary: impl Into<String>) -> Change {
        Change { subject, verb, summary: summary.into(), detail: serde_json::json!({}) }
    }

    /// Adds the values before and after.
    pub fn with(mut self, detail: serde_json::Value) -> Change {
        self.detail = detail;
        self
    }
}

/// A line of history as read.
#[derive(Clone, Debug)]
pub struct ChangeRow {
    pub id: i64,
    pub at: Timestamp,
    /// Who, or `None` for the program itself.
    pub person: Option<String>,
    pub entity: String,
    pub entity_id: i64,
    pub verb: String,
    pub summary: String,
    /// JSON.
    pub detail: String,
}

/// Writes one line; only [`Write::commit_all`] calls it.
pub(super) async fn insert(write: &mut Write, change: &Change) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    let (entity, entity_id) = (change.subject.key(), change.subject.id());
    let detail = change.detail.to_string();
    sqlx::query!(
        "insert into changes (at, person, entity, entity_id, verb, summary, detail) values (?, ?, ?, ?, ?, ?, ?)",
        at,
        by,
        entity,
        entity_id,
        change.verb,
        change.summary,
        detail
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}

/// The history of one thing, newest first.
pub async fn of(db: &mut SqliteConnection, subject: Subject) -> Result<Vec<ChangeRow>> {
    let (entity, entity_id) = (subject.key(), subject.id());
    Ok(sqlx::query_as!(
        ChangeRow,
        r#"select c.id as "id!", c.at as "at: Time", p.name as "person?", c.entity, c.entity_id, c.verb, c.summary, c.detail
           from changes c left join people p on p.id = c.person
           where c.entity = ? and c.entity_id = ? order by c.id desc"#,
        entity,
        entity_id
    )
    .fetch_all(db)
    .await?)
}

/// The newest lines of the whole record, older than line `before` where one is given.
pub async fn latest(db: &mut SqliteConnection, before: Option<i64>, count: u32) -> Result<Vec<ChangeRow>> {
    let before = before.unwrap_or(i64::MAX);
    Ok(sqlx::query_as!(
        ChangeRow,
        r#"select c.id as "id!", c.at as "at: Time", p.name as "person?", c.entity, c.entity_id, c.verb, c.summary, c.detail
           from changes c left join people p on p.id = c.person
           where c.id < ? order by c.id desc limit ?"#,
        before,
        count
    )
    .fetch_all(db)
    .await?)
}

/// The version of the record: it grows with every change, because none is saved without its
/// line of history.
pub async fn version(db: &mut SqliteConnection) -> Result<i64> {
    Ok(sqlx::query_scalar!(r#"select coalesce(max(id), 0) as "version!: i64" from changes"#).fetch_one(db).await?)
}

/// Whether anything was changed after a version, other than things of these kinds
/// ([`Subject::key`]).
pub async fn changed_since(db: &mut SqliteConnection, version: i64, other_than: &[&str]) -> Result<bool> {
    let kinds = serde_json::json!(other_than).to_string();
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from changes where id > ? and entity not in (select value from json_each(?))) as "changed!: bool""#,
        version,
        kinds
    )
    .fetch_one(db)
    .await?)
}
