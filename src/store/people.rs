//! People, their sessions and the one-time setup link.
//!
//! Sessions and links are not part of the record's history: they are written outside
//! [`Write`], and only the SHA-256 of a token is ever kept.

use super::{
    Result, Store, Write, one_row,
    values::{MaybeTime, Text, Time},
};
use crate::{
    agronomy::liking::{LevelUnit, Liking, NutrientForm},
    ids::PersonId,
};
use jiff::Timestamp;
use sqlx::SqliteConnection;
use std::{fmt, str::FromStr};

/// What a person may do; each may do what the one before may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Sees everything, changes nothing.
    Reader,
    /// Enters results, plans and applications.
    Recorder,
    /// Also sets up sites and people.
    Steward,
}

impl Role {
    /// Every role, lowest first.
    pub const ALL: [Role; 3] = [Role::Reader, Role::Recorder, Role::Steward];

    /// The key in the record and in forms.
    pub const fn slug(self) -> &'static str {
        match self {
            Role::Reader => "reader",
            Role::Recorder => "recorder",
            Role::Steward => "steward",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.slug())
    }
}

impl FromStr for Role {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Role::ALL.into_iter().find(|role| role.slug() == text).ok_or_else(|| format!("“{text}” is not a role"))
    }
}

/// Somebody who may sign in.
#[derive(Clone, Debug)]
pub struct PersonRow {
    pub id: PersonId,
    pub name: String,
    pub login: String,
    pub role: Role,
    pub created_at: Timestamp,
    pub disabled_at: Option<Timestamp>,
    pub revision: i64,
}

/// Who is behind a session.
#[derive(Clone, Debug)]
pub struct SessionRow {
    pub person: PersonId,
    pub name: String,
    pub role: Role,
    pub level_unit: LevelUnit,
    pub nutrient_form: NutrientForm,
    pub seen_at: Timestamp,
}

/// Whether anybody exists yet.
pub async fn any(db: &mut SqliteConnection) -> Result<bool> {
    Ok(sqlx::query_scalar!(r#"select exists (select 1 from people) as "any!: bool""#).fetch_one(db).await?)
}

/// Everybody, by name.
pub async fn all(db: &mut SqliteConnection) -> Result<Vec<PersonRow>> {
    Ok(sqlx::query_as!(
        PersonRow,
        r#"select id as "id!", name, login, role as "role: Text<Role>", created_at as "created_at: Time",
                  disabled_at as "disabled_at!: MaybeTime", revision
           from people order by name, id"#
    )
    .fetch_all(db)
    .await?)
}

/// One person.
pub async fn find(db: &mut SqliteConnection, id: PersonId) -> Result<Option<PersonRow>> {
    Ok(sqlx::query_as!(
        PersonRow,
        r#"select id as "id!", name, login, role as "role: Text<Role>", created_at as "created_at: Time",
                  disabled_at as "disabled_at!: MaybeTime", revision
           from people where id = ?"#,
        id
    )
    .fetch_optional(db)
    .await?)
}

/// The person and password hash behind a login, where they may sign in.
pub async fn credentials(db: &mut SqliteConnection, login: &str) -> Result<Option<(PersonId, String)>> {
    let row = sqlx::query!(
        r#"select id as "id!: PersonId", password_hash from people where login = ? and disabled_at is null"#,
        login
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|row| (row.id, row.password_hash)))
}

/// Whether a login is taken.
pub async fn login_taken(db: &mut SqliteConnection, login: &str) -> Result<bool> {
    Ok(sqlx::query_scalar!(r#"select exists (select 1 from people where login = ?) as "taken!: bool""#, login)
        .fetch_one(db)
        .await?)
}

/// How many stewards may sign in.
pub async fn stewards(db: &mut SqliteConnection) -> Result<i64> {
    Ok(sqlx::query_scalar!(
        r#"select count(*) as "n!: i64" from people where role = 'steward' and disabled_at is null"#
    )
    .fetch_one(db)
    .await?)
}

/// Adds a person.
pub async fn insert(write: &mut Write, name: &str, login: &str, hash: &str, role: Role) -> Result<PersonId> {
    let (role, at) = (role.slug(), Time(write.at()));
    let done = sqlx::query!(
        "insert into people (name, login, password_hash, role, created_at) values (?, ?, ?, ?, ?)",
        name,
        login,
        hash,
        role,
        at
    )
    .execute(&mut **write)
    .await?;
    Ok(PersonId(done.last_insert_rowid()))
}

/// Changes name and role, where the revision is still the one that was read.
pub async fn update(write: &mut Write, id: PersonId, revision: i64, name: &str, role: Role) -> Result<()> {
    let role = role.slug();
    one_row(
        sqlx::query!(
            "update people set name = ?, role = ?, revision = revision + 1 where id = ? and revision = ?",
            name,
            role,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )
}

/// Replaces a password.
pub async fn set_password(write: &mut Write, id: PersonId, hash: &str) -> Result<()> {
    one_row(
        sqlx::query!("update people set password_hash = ?, revision = revision + 1 where id = ?", hash, id)
            .execute(&mut **write)
            .await?,
    )
}

/// Sets how a person likes to read levels. It is nobody else's business, so no revision guards it.
pub async fn set_liking(write: &mut Write, id: PersonId, liking: Liking) -> Result<()> {
    let (unit, form) = (liking.unit.slug(), liking.form.slug());
    one_row(
        sqlx::query!("update people set level_unit = ?, nutrient_form = ? where id = ?", unit, form, id)
            .execute(&mut **write)
            .await?,
    )
}

/// Stops a person from signing in, or lets them again.
pub async fn set_disabled(write: &mut Write, id: PersonId, disabled: bool) -> Result<()> {
    let at = disabled.then_some(Time(write.at()));
    one_row(
        sqlx::query!("update people set disabled_at = ?, revision = revision + 1 where id = ?", at, id)
            .execute(&mut **write)
            .await?,
    )
}

/// Ends every session of a person, as part of a change to them.
pub async fn end_sessions(write: &mut Write, id: PersonId) -> Result<()> {
    sqlx::query!("delete from sessions where person = ?", id).execute(&mut **write).await?;
    Ok(())
}

/// Takes a setup link that is still good; `false` where there is none.
pub async fn take_setup_link(write: &mut Write, token_sha256: &[u8]) -> Result<bool> {
    let now = Time(write.at());
    let taken = sqlx::query!("delete from setup_links where token_sha256 = ? and expires_at > ?", token_sha256, now)
        .execute(&mut **write)
        .await?;
    Ok(taken.rows_affected() == 1)
}

impl Store {
    /// Keeps a setup link, and no other.
    pub async fn keep_setup_link(&self, token_sha256: &[u8], now: Timestamp, expires_at: Timestamp) -> Result<()> {
        let (now, expires_at) = (Time(now), Time(expires_at));
        let mut transaction = self.writer.begin_with("BEGIN IMMEDIATE").await?;
        sqlx::query!("delete from setup_links").execute(&mut *transaction).await?;
        sqlx::query!(
            "insert into setup_links (token_sha256, created_at, expires_at) values (?, ?, ?)",
            token_sha256,
            now,
            expires_at
        )
        .execute(&mut *transaction)
        .await?;
        Ok(transaction.commit().await?)
    }

    /// Whether this setup link is still good.
    pub async fn setup_link_is_good(&self, token_sha256: &[u8], now: Timestamp) -> Result<bool> {
        let now = Time(now);
        Ok(sqlx::query_scalar!(
            r#"select exists (select 1 from setup_links where token_sha256 = ? and expires_at > ?)
                      and not exists (select 1 from people) as "good!: bool""#,
            token_sha256,
            now
        )
        .fetch_one(&self.readers)
        .await?)
    }

    /// Keeps a session, and clears away those that have run out.
    pub async fn begin_session(
        &self,
        token_sha256: &[u8],
        person: PersonId,
        now: Timestamp,
        expires_at: Timestamp,
    ) -> Result<()> {
        let (now, expires_at) = (Time(now), Time(expires_at));
        let mut transaction = self.writer.begin_with("BEGIN IMMEDIATE").await?;
        sqlx::query!("delete from sessions where expires_at <= ?", now).execute(&mut *transaction).await?;
        sqlx::query!(
            "insert into sessions (token_sha256, person, created_at, seen_at, expires_at) values (?, ?, ?, ?, ?)",
            token_sha256,
            person,
            now,
            now,
            expires_at
        )
        .execute(&mut *transaction)
        .await?;
        Ok(transaction.commit().await?)
    }

    /// Who is behind a session that is still good and was used after `idle_since`.
    pub async fn session(
        &self,
        token_sha256: &[u8],
        now: Timestamp,
        idle_since: Timestamp,
    ) -> Result<Option<SessionRow>> {
        let (now, idle_since) = (Time(now), Time(idle_since));
        Ok(sqlx::query_as!(
            SessionRow,
            r#"select p.id as "person!", p.name, p.role as "role: Text<Role>",
                      p.level_unit as "level_unit: Text<LevelUnit>",
                      p.nutrient_form as "nutrient_form: Text<NutrientForm>", s.seen_at as "seen_at: Time"
               from sessions s join people p on p.id = s.person
               where s.token_sha256 = ? and s.expires_at > ? and s.seen_at > ? and p.disabled_at is null"#,
            token_sha256,
            now,
            idle_since
        )
        .fetch_optional(&self.readers)
        .await?)
    }

    /// Notes that a session was used.
    pub async fn touch_session(&self, token_sha256: &[u8], now: Timestamp) -> Result<()> {
        let now = Time(now);
        sqlx::query!("update sessions set seen_at = ? where token_sha256 = ?", now, token_sha256)
            .execute(&self.writer)
            .await?;
        Ok(())
    }

    /// Ends a session.
    pub async fn end_session(&self, token_sha256: &[u8]) -> Result<()> {
        sqlx::query!("delete from sessions where token_sha256 = ?", token_sha256).execute(&self.writer).await?;
        Ok(())
    }
}
