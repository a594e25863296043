//! The first start: nobody exists yet, and a link printed on the terminal makes the first steward.

use super::{
    App, Error, Result, Role,
    people::{self, Token, digest},
};
use crate::{
    settings::SETUP_LINK_MINUTES,
    store::{self, Change, Subject},
};
use jiff::SignedDuration;

impl App {
    /// A fresh one-time token where nobody exists yet; any older one is dead from then on.
    pub async fn setup_link(&self) -> Result<Option<Token>> {
        let mut read = self.store.read().await?;
        if store::people::any(&mut read).await? {
            return Ok(None);
        }
        drop(read);
        let token = Token::random()?;
        let now = self.now();
        let until = now + SignedDuration::from_mins(SETUP_LINK_MINUTES);
        self.store.keep_setup_link(&digest(token.secret()), now, until).await?;
        Ok(Some(token))
    }

    /// Whether the page behind this token is to be shown at all.
    pub async fn setup_is_open(&self, token: &str) -> Result<bool> {
        Ok(self.store.setup_link_is_good(&digest(token), self.now()).await?)
    }

    /// Makes the first steward and signs them in. The token works once: of several people
    /// who use it at the same moment one succeeds.
    pub async fn set_up(&self, token: &str, name: &str, login: &str, password: &str) -> Result<Token> {
        const GONE: Error = Error::NotFound("setup link");
        if !self.setup_is_open(token).await? {
            return Err(GONE);
        }
        let (name, login) = people::check_new(name, login, password)?;
        let hash = people::hash(&self.hashing, password.to_owned()).await?;
        let mut write = self.store.write(self.now(), None).await?;
        if store::people::any(&mut write).await? || !store::people::take_setup_link(&mut write, &digest(token)).await? {
            return Err(GONE);
        }
        let id = store::people::insert(&mut write, &name, &login, &hash, Role::Steward).await?;
        write.commit(Change::new(Subject::Person(id), "added", format!("{name} became the first steward."))).await?;
        self.begin_session(id).await
    }
}
