//! The guidelines that can be followed: those that come with the program and the record's own.
//! A site follows the newest version of an own one; a plan that is agreed keeps the version
//! that it was worked out under.

use super::{Actor, App, Error, Result, Role, plots::SiteRow};
use crate::{
    agronomy::guideline::{self, Guideline, NitrateTest, SplitRule},
    store::{self, guidelines::GuidelineRow},
};
use std::{borrow::Cow, sync::Arc};

/// The guideline of a site that has chosen none.
pub const DEFAULT_GUIDELINE: &str = "extension_sufficiency";

/// Added to a guideline's key to switch on its tables that are known only from memory.
pub const WITH_MEMORY: &str = "+memory";

/// A guideline as it was looked up.
#[derive(Clone, Debug)]
pub struct Followed {
    pub guideline: Cow<'static, Guideline>,
    /// 0 for one that comes with the program.
    pub version: i64,
}

impl Followed {
    /// Its title, with the version where there can be several: "Our ground, version 2".
    pub fn title(&self) -> String {
        match self.version {
            0 => self.guideline.title.clone(),
            version => format!("{}, version {version}", self.guideline.title),
        }
    }
}

/// An own guideline as the record holds it, read.
pub(super) fn read(row: &GuidelineRow) -> Result<Guideline> {
    Guideline::parse(&row.toml).map_err(|problems| {
        let first = problems.first().map(ToString::to_string).unwrap_or_default();
        Error::Internal(format!("version {} of the guideline {} does not read back: {first}", row.version, row.name))
    })
}

/// The guideline under a key, as a site or a plan names it; an own one in its newest version,
/// or in the version asked for.
pub(super) async fn find(db: &mut store::Db, key: &str, version: Option<i64>) -> Result<Option<Followed>> {
    let slug = key.strip_suffix(WITH_MEMORY).unwrap_or(key);
    let found = match guideline::find(slug) {
        Some(shipped) => Followed { guideline: Cow::Borrowed(shipped), version: 0 },
        None => {
            let row = match version {
                Some(version) => store::guidelines::find(db, slug, version).await?,
                None => store::guidelines::newest_of(db, slug).await?,
            };
            let Some(row) = row else { return Ok(None) };
            Followed { guideline: Cow::Owned(read(&row)?), version: row.version }
        }
    };
    Ok(Some(match slug == key {
        true => found,
        false => Followed { guideline: Cow::Owned(found.guideline.with_memory()), ..found },
    }))
}

/// The guideline that a site reads its plots under.
pub(super) async fn of_site(db: &mut store::Db, site: &SiteRow) -> Result<Cow<'static, Guideline>> {
    let key = site.guideline.as_deref().unwrap_or(DEFAULT_GUIDELINE);
    let followed = find(db, key, None).await?.ok_or(Error::NotFound("guideline"))?;
    Ok(followed.guideline)
}

/// The record's own guidelines that are offered, each in its newest version.
pub(super) async fn own(db: &mut store::Db) -> Result<Vec<Guideline>> {
    let rows = store::guidelines::newest(db).await?;
    rows.iter().filter(|row| row.archived_at.is_none()).map(read).collect()
}

/// What speaks on a site beside the limits that its plots are read by.
#[derive(Clone, Debug, Default)]
pub struct Beside {
    pub nitrate: Vec<Arc<NitrateTest>>,
    pub splits: Vec<Arc<SplitRule>>,
}

/// The nitrate tests and the rules for parts that are used on a site: the guideline that it
/// follows first, then own ones, then those that come with the program; without the sets that
/// the site leaves out, and what is known only from memory only where the site counts it. A copy
/// that is still as its publisher printed it does not speak twice.
pub(super) async fn beside(db: &mut store::Db, site: &SiteRow) -> Result<Beside> {
    let key = site.guideline.as_deref().unwrap_or(DEFAULT_GUIDELINE);
    let followed = key.strip_suffix(WITH_MEMORY).unwrap_or(key);
    let mut sets: Vec<Cow<'static, Guideline>> = own(db).await?.into_iter().map(Cow::Owned).collect();
    sets.extend(guideline::builtin().iter().map(Cow::Borrowed));
    sets.retain(|set| !site.sets_off.split_whitespace().any(|off| off == set.slug));
    sets.sort_by_key(|set| set.slug != followed);
    let mut all = Beside::default();
    for set in sets {
        let set = if followed == key { set } else { Cow::Owned(set.with_memory()) };
        for test in set.nitrate.iter().filter(|test| test.of.in_force) {
            let same = |other: &Arc<NitrateTest>| NitrateTest { of: test.of.clone(), ..(**other).clone() } == **test;
            if !all.nitrate.iter().any(same) {
                all.nitrate.push(test.clone());
            }
        }
        for rule in set.splits.iter().filter(|rule| rule.of.in_force) {
            let same = |other: &Arc<SplitRule>| SplitRule { of: rule.of.clone(), ..(**other).clone() } == **rule;
            if !all.splits.iter().any(same) {
                all.splits.push(rule.clone());
            }
        }
    }
    Ok(all)
}

impl App {
    /// What a site can leave out: every set, own and shipped, with nitrate tests or rules for parts.
    pub async fn sets_beside(&self, actor: &Actor) -> Result<Vec<Cow<'static, Guideline>>> {
        actor.may(Role::Reader)?;
        let own = own(&mut *self.store.read().await?).await?;
        let all = own.into_iter().map(Cow::Owned).chain(guideline::builtin().iter().map(Cow::Borrowed));
        Ok(all.filter(|set: &Cow<'static, Guideline>| !set.nitrate.is_empty() || !set.splits.is_empty()).collect())
    }

    /// The guidelines that can be chosen: own ones first, then those that come with the program.
    /// One that is archived is among them only while `current` names it.
    pub async fn guidelines_to_choose(&self, actor: &Actor, current: &str) -> Result<Vec<Cow<'static, Guideline>>> {
        actor.may(Role::Reader)?;
        let current = current.strip_suffix(WITH_MEMORY).unwrap_or(current);
        let mut db = self.store.read().await?;
        let mut all = Vec::new();
        for row in store::guidelines::newest(&mut db).await? {
            if row.archived_at.is_none() || row.slug == current {
                let mut guideline = read(&row)?;
                if !guideline.has_limits() && row.slug != current {
                    continue;
                }
                if row.archived_at.is_some() {
                    guideline.title += " (archived)";
                }
                all.push(Cow::Owned(guideline));
            }
        }
        all.extend(guideline::builtin().iter().filter(|set| set.has_limits()).map(Cow::Borrowed));
        Ok(all)
    }
}
