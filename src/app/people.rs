//! Signing in and out, and who may: people, roles, passwords.
//!
//! A password is hashed with Argon2id off the async threads, a few at a time. A wrong
//! password and an unknown name get the same answer after the same work, and have to wait alike
//! after too many ([`super::tries`]).

use super::{Actor, App, Error, Problems, Result, Role, access::found, tries};
use crate::{
    agronomy::liking::{LevelUnit, Liking, NutrientForm},
    ids::PersonId,
    settings::{PASSWORD_CHARS_MAX, PASSWORD_CHARS_MIN, SESSION_DAYS, SESSION_IDLE_DAYS},
    store::{self, Change, Subject},
};
use argon2::{
    Argon2,
    password_hash::{PasswordHasher, PasswordVerifier, phc::PasswordHash},
};
use jiff::SignedDuration;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::{collections::BTreeSet, fmt, fmt::Write as _};
use tokio::sync::Semaphore;

pub use crate::store::people::PersonRow;

/// A secret that is shown once, 256 random bits in hex; the record keeps its SHA-256.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

impl Token {
    /// A new one.
    pub(super) fn random() -> Result<Token> {
        Ok(Token(random_hex()?))
    }

    /// The secret itself, for a cookie or a link.
    pub fn secret(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Token {
    /// Never shows the secret, so that no log line can.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(…)")
    }
}

/// Who signed in.
#[derive(Clone, Debug)]
pub struct SignedIn {
    pub session: Token,
    /// What the browser shows the next time, to be told from a stranger's.
    pub browser: Token,
}

/// How somebody comes to a password: each is counted by itself.
#[derive(Clone, Copy)]
enum Door {
    Stranger,
    KnownBrowser,
    /// Signed in already, asked for the present password once more.
    Inside,
}

/// What is typed to add a person.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct PersonForm {
    pub name: String,
    pub login: String,
    pub password: String,
    pub role: String,
}

/// What is typed to change a person.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PersonEdit {
    pub name: String,
    pub role: String,
    pub revision: i64,
}

/// What is chosen of how to read levels and needs.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct LikingForm {
    pub unit: String,
    pub form: String,
}

impl From<Liking> for LikingForm {
    fn from(liking: Liking) -> LikingForm {
        LikingForm { unit: liking.unit.slug().into(), form: liking.form.slug().into() }
    }
}

/// What is typed to change one's own password.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct PasswordForm {
    pub present: String,
    pub password: String,
    pub again: String,
}

impl App {
    /// Signs a person in, or says that name or password is not right, never which.
    pub async fn sign_in(&self, login: &str, password: &str) -> Result<Token> {
        Ok(self.sign_in_from(login, password, "").await?.session)
    }

    /// The same from a browser that shows what it was given when somebody last signed in with it.
    pub async fn sign_in_from(&self, login: &str, password: &str, browser: &str) -> Result<SignedIn> {
        let login = login.trim();
        let mut read = self.store.read().await?;
        let known = store::people::credentials(&mut read, login).await?;
        drop(read);
        let hash = known.as_ref().map_or(&*self.nobodys_hash, |(_, hash)| hash).to_owned();
        let mark = browser_mark(&hash);
        // Compared by digest, so that the time it takes says nothing of the mark.
        let door = if digest(browser) == digest(mark.secret()) { Door::KnownBrowser } else { Door::Stranger };
        let counted = self.begin_try(login, door)?;
        let right = verify(&self.hashing, password.to_owned(), hash).await?;
        match known {
            Some((person, _)) if right => {
                self.tries.was_right(&counted);
                Ok(SignedIn { session: self.begin_session(person).await?, browser: mark })
            }
            _ => Err(Error::invalid("", "The name or the password is not right.")),
        }
    }

    /// Counts a try for a name, or says how long it has to wait.
    fn begin_try(&self, login: &str, door: Door) -> Result<tries::Key> {
        let key = digest(&format!("{} {}", door as u8, login.trim().to_lowercase()));
        self.tries.begin(key, self.now()).map_err(Error::TooManyTries)?;
        Ok(key)
    }

    /// Who is behind a session's secret, where it is still good.
    pub async fn session(&self, secret: &str) -> Result<Option<Actor>> {
        let now = self.now();
        let key = digest(secret);
        let idle_since = now - SignedDuration::from_hours(24 * SESSION_IDLE_DAYS);
        let Some(session) = self.store.session(&key, now, idle_since).await? else { return Ok(None) };
        if session.seen_at < now - SignedDuration::from_hours(1) {
            self.store.touch_session(&key, now).await?; // at most once an hour, so that reading pages stays reading
        }
        let liking = Liking { unit: session.level_unit, form: session.nutrient_form };
        Ok(Some(Actor { person: session.person, name: session.name, role: session.role, liking }))
    }

    /// Ends a session.
    pub async fn sign_out(&self, secret: &str) -> Result<()> {
        Ok(self.store.end_session(&digest(secret)).await?)
    }

    pub(super) async fn begin_session(&self, person: PersonId) -> Result<Token> {
        let token = Token::random()?;
        let now = self.now();
        let until = now + SignedDuration::from_hours(24 * SESSION_DAYS);
        self.store.begin_session(&digest(token.secret()), person, now, until).await?;
        Ok(token)
    }

    /// Everybody; for stewards.
    pub async fn people(&self, actor: &Actor) -> Result<Vec<PersonRow>> {
        actor.may(Role::Steward)?;
        Ok(store::people::all(&mut *self.store.read().await?).await?)
    }

    /// One person; for stewards.
    pub async fn person(&self, actor: &Actor, id: PersonId) -> Result<PersonRow> {
        actor.may(Role::Steward)?;
        found(store::people::find(&mut *self.store.read().await?, id).await?, "person")
    }

    /// Adds a person.
    pub async fn add_person(&self, actor: &Actor, form: &PersonForm) -> Result<PersonId> {
        actor.may(Role::Steward)?;
        let mut problems = Problems::default();
        let role = problems.one_of::<Role>("role", &form.role);
        let checked = match check_new(&form.name, &form.login, &form.password) {
            Ok(checked) => Some(checked),
            Err(error) => problems.merge(error).map(|()| None)?,
        };
        problems.none()?;
        let (Some(role), Some((name, login))) = (role, checked) else {
            return Err(Error::Internal("a checked form without its values".into()));
        };
        let hash = hash(&self.hashing, form.password.clone()).await?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        if store::people::login_taken(&mut write, &login).await? {
            return Err(Error::invalid("login", format!("“{login}” is taken.")));
        }
        let id = store::people::insert(&mut write, &name, &login, &hash, role).await?;
        write.commit(Change::new(Subject::Person(id), "added", format!("{name} was added as {role}."))).await?;
        Ok(id)
    }

    /// Changes a person's name or role. Their sessions end, so that the new role holds at once.
    pub async fn edit_person(&self, actor: &Actor, id: PersonId, form: &PersonEdit) -> Result<()> {
        actor.may(Role::Steward)?;
        let mut problems = Problems::default();
        let name = problems.text("name", &form.name, 200, "Give a name.");
        let role = problems.one_of::<Role>("role", &form.role);
        problems.none()?;
        let role = role.unwrap_or(Role::Reader);
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let before = found(store::people::find(&mut write, id).await?, "person")?;
        if before.role == Role::Steward && role < Role::Steward && store::people::stewards(&mut write).await? < 2 {
            return Err(Error::invalid("role", "There must always be a steward. Make somebody else one first."));
        }
        store::people::update(&mut write, id, form.revision, &name, role).await?;
        if role != before.role {
            store::people::end_sessions(&mut write, id).await?;
        }
        let change = Change::new(
            Subject::Person(id),
            "edited",
            format!("{name} is now {role} (was {} as {}).", before.name, before.role),
        );
        Ok(write.commit(change).await?)
    }

    /// Stops a person from signing in and ends their sessions, or lets them sign in again.
    pub async fn disable_person(&self, actor: &Actor, id: PersonId, disabled: bool) -> Result<()> {
        actor.may(Role::Steward)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let person = found(store::people::find(&mut write, id).await?, "person")?;
        if disabled && person.role == Role::Steward && store::people::stewards(&mut write).await? < 2 {
            return Err(Error::invalid("", "There must always be a steward. Make somebody else one first."));
        }
        store::people::set_disabled(&mut write, id, disabled).await?;
        store::people::end_sessions(&mut write, id).await?;
        let (verb, what) =
            if disabled { ("disabled", "may no longer sign in") } else { ("enabled", "may sign in again") };
        Ok(write.commit(Change::new(Subject::Person(id), verb, format!("{} {what}.", person.name))).await?)
    }

    /// Sets how the actor likes to read levels and needs, for themselves alone.
    pub async fn set_liking(&self, actor: &Actor, form: &LikingForm) -> Result<()> {
        actor.may(Role::Reader)?;
        let mut problems = Problems::default();
        let unit = problems.one_of::<LevelUnit>("unit", &form.unit);
        let form = problems.one_of::<NutrientForm>("form", &form.form);
        problems.none()?;
        let liking = Liking { unit: unit.unwrap_or_default(), form: form.unwrap_or_default() };
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        found(store::people::find(&mut write, actor.person).await?, "person")?;
        store::people::set_liking(&mut write, actor.person, liking).await?;
        let words = format!("{} reads levels in {}, as {}.", actor.name, liking.unit.label(), liking.form.label());
        Ok(write.commit(Change::new(Subject::Person(actor.person), "edited", words)).await?)
    }

    /// Sets the actor's own password, after the present one; gives the session that they go on
    /// in, for all others end.
    pub async fn change_own_password(&self, actor: &Actor, form: &PasswordForm) -> Result<Token> {
        if form.password != form.again {
            return Err(Error::invalid("again", "The two are not alike."));
        }
        self.change_password(actor, actor.person, &form.present, &form.password).await?;
        self.begin_session(actor.person).await
    }

    /// Sets a new password: one's own after giving the present one, or anybody's for a
    /// steward. All their sessions end.
    pub async fn change_password(&self, actor: &Actor, id: PersonId, present: &str, new: &str) -> Result<()> {
        let mut read = self.store.read().await?;
        if id != actor.person {
            actor.may(Role::Steward)?;
        }
        let person = found(store::people::find(&mut read, id).await?, "person")?;
        let known = store::people::credentials(&mut read, &person.login).await?;
        drop(read);
        if id == actor.person {
            let hash = known.map_or_else(|| self.nobodys_hash.to_string(), |(_, hash)| hash);
            let counted = self.begin_try(&person.login, Door::Inside)?;
            if !verify(&self.hashing, present.to_owned(), hash).await? {
                return Err(Error::invalid("present", "The present password is not right."));
            }
            self.tries.was_right(&counted);
        }
        let mut problems = Problems::default();
        check_password(&mut problems, new, &[&person.name, &person.login]);
        problems.none()?;
        let hash = hash(&self.hashing, new.to_owned()).await?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        store::people::set_password(&mut write, id, &hash).await?;
        store::people::end_sessions(&mut write, id).await?;
        let change = Change::new(Subject::Person(id), "edited", format!("{} has a new password.", person.name));
        Ok(write.commit(change).await?)
    }
}

/// Checks what a new person brings; gives the trimmed name and login.
pub(super) fn check_new(name: &str, login: &str, password: &str) -> Result<(String, String)> {
    let mut problems = Problems::default();
    let name = problems.text("name", name, 200, "Give a name.");
    let login = problems.text("login", login, 100, "Give a name to sign in with.");
    if login.chars().any(char::is_whitespace) {
        problems.add("login", "The name to sign in with has no spaces.");
    }
    check_password(&mut problems, password, &[&name, &login]);
    problems.none()?;
    Ok((name, login))
}

fn check_password(problems: &mut Problems, password: &str, own_words: &[&str]) {
    let count = password.chars().count();
    let plain = password.to_lowercase();
    if count < PASSWORD_CHARS_MIN {
        problems
            .add("password", format!("A password has at least {PASSWORD_CHARS_MIN} characters; a few words do well."));
    } else if count > PASSWORD_CHARS_MAX {
        problems.add("password", format!("A password has at most {PASSWORD_CHARS_MAX} characters."));
    } else if plain.chars().collect::<BTreeSet<_>>().len() < 5 {
        problems.add("password", "This password repeats the same few characters and is easily guessed.");
    } else if own_words.iter().any(|word| {
        word.chars().count() > 3 && count < word.chars().count() + 8 && plain.contains(&word.to_lowercase())
    }) {
        problems.add("password", "This password is little more than the name and is easily guessed.");
    }
}

/// What a browser keeps of a person who signed in with it. It is made from the salted hash of the
/// password, so it ends with the password, needs no room in the record, and nobody can make it
/// who has not the record itself.
fn browser_mark(password_hash: &str) -> Token {
    let mark = digest(&format!("known browser {password_hash}"));
    Token(hex(&mark))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut hex, byte| {
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

/// SHA-256 of a secret: what the record keeps of it. The look-up is by this digest, so
/// comparing takes no time that depends on the secret.
pub(super) fn digest(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

/// 256 random bits in hex.
pub(super) fn random_hex() -> Result<String> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes).map_err(|e| Error::Internal(e.to_string()))?;
    Ok(hex(&bytes))
}

/// Argon2id with the crate's default parameters (19 MiB, 2 passes, 1 lane), off the async threads.
pub(super) async fn hash(slots: &Semaphore, password: String) -> Result<String> {
    let _slot = slots.acquire().await.map_err(|e| Error::Internal(e.to_string()))?;
    tokio::task::spawn_blocking(move || {
        Argon2::default().hash_password(password.as_bytes()).map(|hash| hash.to_string())
    })
    .await
    .map_err(|e| Error::Internal(e.to_string()))?
    .map_err(|e| Error::Internal(e.to_string()))
}

async fn verify(slots: &Semaphore, password: String, hash: String) -> Result<bool> {
    let _slot = slots.acquire().await.map_err(|e| Error::Internal(e.to_string()))?;
    tokio::task::spawn_blocking(move || {
        let parsed = PasswordHash::new(&hash).map_err(|e| Error::Internal(e.to_string()))?;
        Ok(Argon2::default().verify_password(password.as_bytes(), &parsed).is_ok())
    })
    .await
    .map_err(|e| Error::Internal(e.to_string()))?
}
