//! Amendments, their dated analyses, packs and stock.
//!
//! What is loaded is the trade's own [`Amendment`], with the analysis in force on the day
//! asked for. An analysis is only ever inserted.

use super::{
    Day, Error, Result, Time, Write, one_row,
    samplings::id_list,
    values::{MaybeDay, Text, from_json, json},
};
use crate::{
    agronomy::{
        amendment::{Amendment, Analysis, Cited, Kind, Part, RateLimit},
        element::Element,
        quantity::KgPerHa,
    },
    ids::{AmendmentId, AnalysisId, PackId},
};
use jiff::civil::Date;
use sqlx::SqliteConnection;
use std::collections::BTreeMap;

/// An amendment with the analysis in force.
#[derive(Clone, Debug)]
pub struct AmendmentRow {
    pub id: AmendmentId,
    pub supplier: String,
    pub liquid: bool,
    /// Key of the catalogue's entry that it was made from.
    pub catalogue: Option<String>,
    pub note: String,
    pub archived_on: Option<Date>,
    pub revision: i64,
    /// The analysis in force, and since when.
    pub analysis: AnalysisId,
    pub valid_from: Date,
    /// As the trade reads it; `packs_kg` is empty: the grower's packs are [`packs`].
    pub amendment: Amendment,
}

/// What the record holds about an amendment beside what the trade knows.
#[derive(Clone, Debug, Default)]
pub struct Extra {
    pub supplier: String,
    pub liquid: bool,
    pub catalogue: Option<String>,
    pub note: String,
}

/// A dated composition.
#[derive(Clone, Debug)]
pub struct AnalysisRow {
    pub id: AnalysisId,
    pub amendment: AmendmentId,
    pub valid_from: Date,
    pub analysis: Analysis,
}

/// A pack that can be bought.
#[derive(Clone, Debug)]
pub struct PackRow {
    pub id: PackId,
    pub amendment: AmendmentId,
    pub mass_g: f64,
    /// In minor units of `currency`.
    pub price_minor: Option<i64>,
    pub currency: Option<String>,
    pub supplier: String,
    pub valid_from: Date,
    pub archived_on: Option<Date>,
}

/// What a person can say about a pack.
#[derive(Clone, Debug)]
pub struct NewPack {
    pub mass_g: f64,
    /// Minor units and ISO 4217.
    pub price: Option<(i64, String)>,
    pub supplier: String,
    pub valid_from: Date,
}

/// Adds an amendment; its analysis is added apart. The name may be taken: see [`Error::is_duplicate`].
pub async fn insert(write: &mut Write, amendment: &Amendment, extra: &Extra) -> Result<AmendmentId> {
    let (kind, form) = (amendment.kind.slug(), if extra.liquid { "liquid" } else { "solid" });
    let (solubility, solubility_source) = cited(&amendment.solubility);
    let (rate, per, rate_source) = limit(&amendment.rate_limit);
    let (lists, others, cautions) =
        (json(&amendment.list_status), json(&amendment.also_printed), json(&amendment.cautions));
    let done = sqlx::query!(
        "insert into amendments (name, supplier, kind, form, about, formula, solubility_g_per_l, solubility_source,
                                 rate_max_kg_per_ha, rate_max_per, rate_max_source, manure, list_status, also_printed,
                                 cautions, catalogue, note)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        amendment.name,
        extra.supplier,
        kind,
        form,
        amendment.about,
        amendment.formula,
        solubility,
        solubility_source,
        rate,
        per,
        rate_source,
        amendment.manure,
        lists,
        others,
        cautions,
        extra.catalogue,
        extra.note
    )
    .execute(&mut **write)
    .await?;
    Ok(AmendmentId(done.last_insert_rowid()))
}

/// Changes what is said about an amendment, its analysis apart, where the revision is still
/// the one that was read.
pub async fn update(
    write: &mut Write,
    id: AmendmentId,
    revision: i64,
    amendment: &Amendment,
    extra: &Extra,
) -> Result<()> {
    let (kind, form) = (amendment.kind.slug(), if extra.liquid { "liquid" } else { "solid" });
    let (solubility, solubility_source) = cited(&amendment.solubility);
    let (rate, per, rate_source) = limit(&amendment.rate_limit);
    let (lists, others, cautions) =
        (json(&amendment.list_status), json(&amendment.also_printed), json(&amendment.cautions));
    one_row(
        sqlx::query!(
            "update amendments set name = ?, supplier = ?, kind = ?, form = ?, about = ?, formula = ?,
                    solubility_g_per_l = ?, solubility_source = ?, rate_max_kg_per_ha = ?, rate_max_per = ?,
                    rate_max_source = ?, manure = ?, list_status = ?, also_printed = ?, cautions = ?, note = ?,
                    revision = revision + 1
             where id = ? and revision = ?",
            amendment.name,
            extra.supplier,
            kind,
            form,
            amendment.about,
            amendment.formula,
            solubility,
            solubility_source,
            rate,
            per,
            rate_source,
            amendment.manure,
            lists,
            others,
            cautions,
            extra.note,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )
}

fn cited(value: &Option<Cited<f64>>) -> (Option<f64>, Option<String>) {
    (value.as_ref().map(|c| c.value), value.as_ref().map(|c| json(&c.source)))
}

fn limit(limit: &Option<RateLimit>) -> (Option<f64>, Option<&str>, Option<String>) {
    let limit = limit.as_ref();
    (limit.map(|l| l.rate.0), limit.map(|l| l.per.as_str()), limit.map(|l| json(&l.source)))
}

/// Takes an amendment off the lists from a day on, or puts it back.
pub async fn set_archived(write: &mut Write, id: AmendmentId, on: Option<Date>) -> Result<()> {
    let on = on.map(Day);
    one_row(
        sqlx::query!("update amendments set archived_on = ?, revision = revision + 1 where id = ?", on, id)
            .execute(&mut **write)
            .await?,
    )
}

/// Adds the composition in force from a day on.
pub async fn insert_analysis(
    write: &mut Write,
    amendment: AmendmentId,
    valid_from: Date,
    analysis: &Analysis,
) -> Result<AnalysisId> {
    let (from, at, by, source) = (Day(valid_from), Time(write.at()), write.by(), json(&analysis.source));
    let id = sqlx::query!(
        "insert into analyses (amendment, valid_from, label, source, neutralising_value, moisture, ammonium_n, recorded_at,
                               recorded_by)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        amendment,
        from,
        analysis.label,
        source,
        analysis.neutralising_value,
        analysis.moisture,
        analysis.ammonium_n,
        at,
        by
    )
    .execute(&mut **write)
    .await?
    .last_insert_rowid();
    for (element, part) in &analysis.parts {
        let (element, source) = (element.symbol(), json(&part.source));
        let availability_source = part.availability_source.as_ref().map(json);
        sqlx::query!(
            "insert into analysis_parts (analysis, element, mass_fraction, first_year_availability, printed, pure, source,
                                         availability_source)
             values (?, ?, ?, ?, ?, ?, ?, ?)",
            id,
            element,
            part.mass_fraction,
            part.first_year_availability,
            part.printed,
            part.pure,
            source,
            availability_source
        )
        .execute(&mut **write)
        .await?;
    }
    Ok(AnalysisId(id))
}

/// The analysis in force on a day: the newest from that day or before, else the oldest there is.
pub async fn in_force(db: &mut SqliteConnection, amendment: AmendmentId, on: Date) -> Result<Option<AnalysisId>> {
    let on = Day(on);
    Ok(sqlx::query_scalar!(
        r#"select id as "id!: AnalysisId" from analyses where amendment = ?1
           order by valid_from > ?2, case when valid_from <= ?2 then valid_from end desc, valid_from, id desc limit 1"#,
        amendment,
        on
    )
    .fetch_optional(db)
    .await?)
}

/// Every amendment with the analysis in force on a day, by name; archived ones too where asked.
pub async fn all(db: &mut SqliteConnection, on: Date, archived_too: bool) -> Result<Vec<AmendmentRow>> {
    load(db, on, None, archived_too).await
}

/// One amendment with the analysis in force on a day.
pub async fn find(db: &mut SqliteConnection, id: AmendmentId, on: Date) -> Result<Option<AmendmentRow>> {
    Ok(load(db, on, Some(id), true).await?.pop())
}

async fn load(
    db: &mut SqliteConnection,
    on: Date,
    only: Option<AmendmentId>,
    archived_too: bool,
) -> Result<Vec<AmendmentRow>> {
    let day = Day(on);
    let rows = sqlx::query!(
        r#"select a.id as "id!: AmendmentId", a.name, a.supplier, a.kind as "kind: Text<Kind>", a.form, a.about, a.formula,
                  a.solubility_g_per_l, a.solubility_source, a.rate_max_kg_per_ha, a.rate_max_per, a.rate_max_source,
                  a.manure as "manure: bool", a.list_status, a.also_printed, a.cautions, a.catalogue, a.note,
                  a.archived_on as "archived_on!: MaybeDay", a.revision,
                  (select n.id from analyses n where n.amendment = a.id
                   order by n.valid_from > ?1, case when n.valid_from <= ?1 then n.valid_from end desc, n.valid_from,
                            n.id desc limit 1) as "analysis: AnalysisId"
           from amendments a
           where (?2 is null or a.id = ?2) and (?3 or a.archived_on is null) order by a.name"#,
        day,
        only,
        archived_too
    )
    .fetch_all(&mut *db)
    .await?;
    let wanted: Vec<AnalysisId> = rows.iter().filter_map(|row| row.analysis).collect();
    let mut analyses = analyses_by_id(db, &wanted).await?;
    let mut all = Vec::new();
    for row in rows {
        let Some(analysis) = row.analysis.and_then(|id| analyses.remove(&id)) else { continue };
        let solubility = match (row.solubility_g_per_l, row.solubility_source) {
            (Some(value), Some(source)) => Some(Cited { value, source: from_json("a citation", &source)? }),
            _ => None,
        };
        let rate_limit = match (row.rate_max_kg_per_ha, row.rate_max_per, row.rate_max_source) {
            (Some(rate), Some(per), Some(source)) => {
                Some(RateLimit { rate: KgPerHa(rate), per, source: from_json("a citation", &source)? })
            }
            _ => None,
        };
        let amendment = Amendment {
            slug: row.catalogue.clone().unwrap_or_else(|| format!("own-{}", row.id)),
            name: row.name,
            kind: row.kind.0,
            about: row.about,
            formula: row.formula,
            analysis: analysis.analysis,
            also_printed: from_json("a list of grades", &row.also_printed)?,
            solubility,
            rate_limit,
            list_status: from_json("a list of standings", &row.list_status)?,
            manure: row.manure,
            cautions: from_json("a list of cautions", &row.cautions)?,
            packs_kg: Vec::new(),
        };
        all.push(AmendmentRow {
            id: row.id,
            supplier: row.supplier,
            liquid: row.form == "liquid",
            catalogue: row.catalogue,
            note: row.note,
            archived_on: row.archived_on.into(),
            revision: row.revision,
            analysis: analysis.id,
            valid_from: analysis.valid_from,
            amendment,
        });
    }
    Ok(all)
}

/// Every analysis of an amendment, newest first.
pub async fn analyses_of(db: &mut SqliteConnection, amendment: AmendmentId) -> Result<Vec<AnalysisRow>> {
    let ids = sqlx::query_scalar!(r#"select id as "id!: AnalysisId" from analyses where amendment = ?"#, amendment)
        .fetch_all(&mut *db)
        .await?;
    let mut all: Vec<_> = analyses_by_id(db, &ids).await?.into_values().collect();
    all.sort_by_key(|row| std::cmp::Reverse((row.valid_from, row.id)));
    Ok(all)
}

/// Analyses by number, in two statements however many there are.
pub async fn analyses_by_id(
    db: &mut SqliteConnection,
    ids: &[AnalysisId],
) -> Result<BTreeMap<AnalysisId, AnalysisRow>> {
    let wanted = id_list(ids.iter().map(|id| id.0));
    let parts = sqlx::query!(
        r#"select analysis as "analysis: AnalysisId", element as "element: Text<Element>", mass_fraction,
                  first_year_availability, printed, pure, source, availability_source
           from analysis_parts where analysis in (select value from json_each(?))"#,
        wanted
    )
    .fetch_all(&mut *db)
    .await?;
    let mut contents: BTreeMap<AnalysisId, BTreeMap<Element, Part>> = BTreeMap::new();
    for row in parts {
        let availability_source = row.availability_source.as_deref();
        let part = Part {
            mass_fraction: row.mass_fraction,
            first_year_availability: row.first_year_availability,
            printed: row.printed,
            pure: row.pure,
            source: from_json("a citation", &row.source)?,
            availability_source: availability_source.map(|text| from_json("a citation", text)).transpose()?,
        };
        contents.entry(row.analysis).or_default().insert(row.element.0, part);
    }
    let rows = sqlx::query!(
        r#"select id as "id!: AnalysisId", amendment as "amendment: AmendmentId", valid_from as "valid_from: Day", label,
                  source, neutralising_value, moisture, ammonium_n
           from analyses where id in (select value from json_each(?))"#,
        wanted
    )
    .fetch_all(db)
    .await?;
    rows.into_iter()
        .map(|row| {
            let analysis = Analysis {
                label: row.label,
                parts: contents.remove(&row.id).unwrap_or_default(),
                neutralising_value: row.neutralising_value,
                moisture: row.moisture,
                ammonium_n: row.ammonium_n,
                source: from_json("a citation", &row.source)?,
            };
            let valid_from = row.valid_from.0;
            Ok((row.id, AnalysisRow { id: row.id, amendment: row.amendment, valid_from, analysis }))
        })
        .collect::<Result<_, Error>>()
}

/// The packs on sale, by amendment and size; archived ones are left out.
pub async fn packs(db: &mut SqliteConnection) -> Result<Vec<PackRow>> {
    Ok(sqlx::query_as!(
        PackRow,
        r#"select id as "id!", amendment, mass_g, price_minor, currency, supplier, valid_from as "valid_from: Day",
                  archived_on as "archived_on!: MaybeDay"
           from packs where archived_on is null order by amendment, mass_g, id"#
    )
    .fetch_all(db)
    .await?)
}

/// Adds a pack.
pub async fn insert_pack(write: &mut Write, amendment: AmendmentId, pack: &NewPack) -> Result<PackId> {
    let (price, currency) = (pack.price.as_ref().map(|p| p.0), pack.price.as_ref().map(|p| p.1.as_str()));
    let from = Day(pack.valid_from);
    let done = sqlx::query!(
        "insert into packs (amendment, mass_g, price_minor, currency, supplier, valid_from) values (?, ?, ?, ?, ?, ?)",
        amendment,
        pack.mass_g,
        price,
        currency,
        pack.supplier,
        from
    )
    .execute(&mut **write)
    .await?;
    Ok(PackId(done.last_insert_rowid()))
}

/// Takes a pack off sale; gives its amendment, or [`Error::Stale`] where it was off already.
pub async fn archive_pack(write: &mut Write, id: PackId, on: Date) -> Result<AmendmentId> {
    let on = Day(on);
    sqlx::query_scalar!(
        r#"update packs set archived_on = ? where id = ? and archived_on is null returning amendment as "amendment: AmendmentId""#,
        on,
        id
    )
    .fetch_optional(&mut **write)
    .await?
    .ok_or(Error::Stale)
}

/// Notes what was found in the shed.
pub async fn insert_stock_count(write: &mut Write, amendment: AmendmentId, on: Date, mass_g: f64) -> Result<()> {
    let (on, at) = (Day(on), Time(write.at()));
    sqlx::query!(
        "insert into stock_counts (amendment, counted_on, mass_g, counted_at) values (?, ?, ?, ?)",
        amendment,
        on,
        mass_g,
        at
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}

/// What the newest count found of each amendment, less what was put on after that day, and what
/// was put on that day and written down after the count was; in g.
pub async fn stock(db: &mut SqliteConnection) -> Result<BTreeMap<AmendmentId, f64>> {
    let rows = sqlx::query!(
        r#"select c.amendment as "amendment: AmendmentId",
                  max(0.0, c.mass_g - (select coalesce(sum(p.mass_g), 0.0) from applications p
                                       where p.amendment = c.amendment and p.voided_at is null
                                         and (p.applied_on > c.counted_on
                                              or p.applied_on = c.counted_on and p.recorded_at > c.counted_at))) as "left_g!: f64"
           from stock_counts c
           where c.id = (select n.id from stock_counts n where n.amendment = c.amendment
                         order by n.counted_on desc, n.id desc limit 1)"#
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.amendment, row.left_g)).collect())
}
