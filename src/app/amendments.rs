//! Amendments: the catalogue a new record starts from, own products, dated analyses,
//! packs with prices, and the stock in the shed.
//!
//! A label comes before chemistry, and a new label is a new analysis: what was put on
//! before keeps the one it was put on with. The cautions that the content calls for are
//! always there, whatever was typed.

use super::{Actor, App, Error, Problems, Result, Role, access::found, day, error::Limits};
use crate::{
    agronomy::{
        amendment::{self, Amendment, Analysis, Cited, Convention, Kind, Part, RateLimit},
        caution::cautions_by_content,
        element::{Element, Form},
        quantity::GramsPerM2,
        source::{Citation, Evidence},
    },
    exchange::number::Low,
    ids::{AmendmentId, AnalysisId, PackId},
    store::{self, Change, Subject, amendments::Extra, amendments::NewPack},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use crate::store::amendments::{AmendmentRow, AnalysisRow, PackRow};

/// What is typed about a product.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct AmendmentForm {
    pub name: String,
    pub supplier: String,
    /// Key of the kind of material.
    pub kind: String,
    /// Not empty for a liquid.
    pub liquid: String,
    pub about: String,
    /// g in a litre of cold water; empty where not known or not soluble.
    pub solubility_g_per_l: String,
    /// The most of the product at once, g/m²; empty for none.
    pub rate_max_g_per_m2: String,
    /// Not empty for livestock manure, which counts for limits on manure nitrogen.
    pub manure: String,
    pub note: String,
    pub revision: i64,
}

/// What is typed about a composition.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct AnalysisForm {
    pub valid_from: String,
    /// As on the bag: "0-0-50 + 18 S"; may be empty where every part is typed.
    pub label: String,
    /// `oxide` or `elemental`: how the three numbers are meant.
    pub convention: String,
    /// Where the figures come from: the bag, the supplier's sheet, a lab.
    pub source: String,
    /// % of pure calcium carbonate.
    pub neutralising_value: String,
    /// Water in the product as sold, % of mass.
    pub moisture_percent: String,
    /// Parts that the label does not say, or says otherwise.
    pub parts: Vec<PartForm>,
}

/// What is typed about one element of a composition.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PartForm {
    /// Symbol of an element ("K"), or an oxide or ion ("K2O").
    pub substance: String,
    /// % of mass; a line without it is left out, unless it only gives an availability.
    pub percent: String,
    /// Share that a crop can use in the first year, %; empty is all of it.
    pub available_percent: String,
}

/// What is typed about a pack.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PackForm {
    pub mass_kg: String,
    /// In whole units of the currency; may be empty.
    pub price: String,
    pub currency: String,
    pub supplier: String,
    /// Empty is today.
    pub valid_from: String,
}

/// Everything about one amendment.
#[derive(Clone, Debug)]
pub struct AmendmentPage {
    pub row: AmendmentRow,
    /// Newest first.
    pub analyses: Vec<AnalysisRow>,
    pub packs: Vec<PackRow>,
    /// Left of the newest count, g; `None` where never counted.
    pub stock_g: Option<f64>,
}

const SOLUBILITY: Limits =
    Limits { what: "A solubility", unit: "g/L", low: Low::Above(0.0), at_most: 5_000.0, decimals: 3 };
const RATE_MAX: Limits =
    Limits { what: "A rate", unit: "g/m²", low: Low::Above(0.0), at_most: 100_000.0, decimals: 3 };

impl From<&AmendmentRow> for AmendmentForm {
    fn from(row: &AmendmentRow) -> Self {
        let ticked = |yes: bool| if yes { "on".to_owned() } else { String::new() };
        let a = &row.amendment;
        AmendmentForm {
            name: a.name.clone(),
            supplier: row.supplier.clone(),
            kind: a.kind.slug().into(),
            liquid: ticked(row.liquid),
            about: a.about.clone(),
            solubility_g_per_l: a.solubility.as_ref().map_or_else(String::new, |s| s.value.to_string()),
            rate_max_g_per_m2: a.rate_limit.as_ref().map_or_else(String::new, |l| l.rate.grams_per_m2().0.to_string()),
            manure: ticked(a.manure),
            note: row.note.clone(),
            revision: row.revision,
        }
    }
}

impl AmendmentForm {
    /// Reads the form over what is known of the product already, so that a figure that was
    /// not touched keeps its published source.
    fn read(&self, known: Option<&AmendmentRow>) -> Result<(Amendment, Extra)> {
        let mut problems = Problems::default();
        let name = problems.text("name", &self.name, 200, "Give the product a name.");
        let kind = problems.one_of::<Kind>("kind", &self.kind);
        let solubility = problems.optional_number("solubility_g_per_l", &self.solubility_g_per_l, &SOLUBILITY);
        let rate = problems.optional_number("rate_max_g_per_m2", &self.rate_max_g_per_m2, &RATE_MAX);
        problems.none()?;
        let before = known.map(|row| &row.amendment);
        let own = |title: &str| Citation {
            publisher: "Entered by the grower".into(),
            title: title.into(),
            year: 0,
            address: String::new(),
            evidence: Evidence::Quoted,
        };
        let solubility = solubility.map(|value| {
            let same = before.and_then(|b| b.solubility.clone()).filter(|s| s.value == value);
            same.unwrap_or_else(|| Cited { value, source: own("solubility") })
        });
        let rate_limit = rate.map(|g| {
            let typed = self.rate_max_g_per_m2.trim();
            let shown = |l: &RateLimit| l.rate.grams_per_m2().0.to_string() == typed;
            let same = before.and_then(|b| b.rate_limit.clone()).filter(shown);
            same.unwrap_or_else(|| RateLimit {
                rate: GramsPerM2(g).kg_per_ha(),
                per: "at once".into(),
                source: own("most at once"),
            })
        });
        let amendment = Amendment {
            slug: before.map(|b| b.slug.clone()).unwrap_or_default(),
            name,
            kind: found(kind, "kind")?,
            about: self.about.trim().to_owned(),
            formula: before.and_then(|b| b.formula.clone()),
            analysis: before.map_or_else(|| nothing(own("analysis")), |b| b.analysis.clone()),
            also_printed: before.map(|b| b.also_printed.clone()).unwrap_or_default(),
            solubility,
            rate_limit,
            list_status: before.map(|b| b.list_status.clone()).unwrap_or_default(),
            manure: !self.manure.trim().is_empty(),
            cautions: before.map(|b| b.cautions.clone()).unwrap_or_default(),
            packs_kg: Vec::new(),
        };
        let extra = Extra {
            supplier: self.supplier.trim().to_owned(),
            liquid: !self.liquid.trim().is_empty(),
            catalogue: known.and_then(|row| row.catalogue.clone()),
            note: self.note.trim().to_owned(),
        };
        Ok((amendment, extra))
    }
}

fn nothing(source: Citation) -> Analysis {
    Analysis { label: String::new(), parts: BTreeMap::new(), neutralising_value: None, moisture: None, source }
}

impl AnalysisForm {
    /// Reads the form, or says what is wrong with it: parts that add to more than the whole
    /// are refused.
    pub fn read(&self, today: Date) -> Result<(Date, Analysis)> {
        let mut problems = Problems::default();
        let valid_from = if self.valid_from.trim().is_empty() {
            Some(today)
        } else {
            problems.past_date("valid_from", &self.valid_from, today)
        };
        let publisher =
            problems.text("source", &self.source, 200, "Say where the figures come from: the bag, a sheet, a lab.");
        let source = Citation {
            publisher,
            title: if self.label.trim().is_empty() { "analysis".into() } else { self.label.trim().into() },
            year: 0,
            address: String::new(),
            evidence: Evidence::Read,
        };
        let mut analysis = nothing(source.clone());
        if !self.label.trim().is_empty() {
            let convention = if self.convention.trim().is_empty() {
                Some(Convention::Oxide)
            } else {
                problems.one_of::<Convention>("convention", &self.convention)
            };
            match convention.map(|convention| amendment::from_label(&self.label, convention)) {
                Some(Ok(label)) => analysis = Analysis::from_label(&label, source.clone()),
                Some(Err(sentence)) => problems.add("label", format!("{sentence}.")),
                None => {}
            }
        }
        for (line, typed) in self.parts.iter().enumerate() {
            typed.read(line, &source, &mut analysis, &mut problems);
        }
        analysis.neutralising_value =
            problems.optional_number("neutralising_value", &self.neutralising_value, &Limits::NEUTRALISING);
        analysis.moisture =
            problems.optional_number("moisture_percent", &self.moisture_percent, &Limits::PERCENT).map(|p| p / 100.0);
        if problems.is_empty() {
            for sentence in analysis.problems() {
                problems.add("parts", format!("{}.", capitalised(&sentence)));
            }
            if analysis.parts.is_empty() && analysis.neutralising_value.is_none() {
                problems.add("label", "Type the label, or the parts, or the neutralising value.");
            }
        }
        problems.none()?;
        Ok((found(valid_from, "date")?, analysis))
    }
}

impl PartForm {
    fn read(&self, line: usize, source: &Citation, analysis: &mut Analysis, problems: &mut Problems) {
        let field = |name: &str| format!("parts.{line}.{name}");
        let substance = self.substance.trim();
        if substance.is_empty() {
            if !self.percent.trim().is_empty() {
                problems.add(&field("substance"), "Say which element this is the share of.");
            }
            return;
        }
        let (element, form) = match (substance.parse::<Form>(), substance.parse::<Element>()) {
            (_, Ok(element)) => (element, None),
            (Ok(form), _) => (form.element(), Some(form)),
            (_, Err(sentence)) => return problems.add(&field("substance"), format!("{sentence}.")),
        };
        let percent = problems.optional_number(&field("percent"), &self.percent, &Limits::PERCENT);
        let available =
            problems.optional_number(&field("available_percent"), &self.available_percent, &Limits::PERCENT);
        if let Some(percent) = percent {
            let guarantee = amendment::Guarantee { element, form, percent };
            let part = Part {
                mass_fraction: guarantee.fraction(),
                first_year_availability: 1.0,
                printed: guarantee.words(),
                pure: None,
                source: source.clone(),
                availability_source: None,
            };
            analysis.parts.insert(element, part);
        }
        match (analysis.parts.get_mut(&element), available) {
            (Some(part), Some(available)) => {
                part.first_year_availability = available / 100.0;
                part.availability_source = Some(source.clone());
            }
            (None, Some(_)) => problems.add(&field("percent"), format!("Give the share of {} too.", element.name())),
            _ => {}
        }
    }
}

fn capitalised(sentence: &str) -> String {
    let mut chars = sentence.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// Adds the cautions that the content calls for to those that are kept with the product.
pub(super) fn with_cautions(mut row: AmendmentRow) -> AmendmentRow {
    let a = &mut row.amendment;
    a.cautions.extend(cautions_by_content(a.kind, |element| a.analysis.fraction(element), a.manure));
    a.cautions.sort();
    a.cautions.dedup();
    row
}

impl App {
    /// Every amendment with the analysis in force today, by name.
    pub async fn amendments(&self, actor: &Actor, archived_too: bool) -> Result<Vec<AmendmentRow>> {
        actor.may(Role::Reader)?;
        let rows = store::amendments::all(&mut *self.store.read().await?, self.today(), archived_too).await?;
        Ok(rows.into_iter().map(with_cautions).collect())
    }

    /// Everything about one amendment.
    pub async fn amendment(&self, actor: &Actor, id: AmendmentId) -> Result<AmendmentPage> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let row = found(store::amendments::find(&mut read, id, self.today()).await?, "amendment")?;
        let analyses = store::amendments::analyses_of(&mut read, id).await?;
        let mut packs = store::amendments::packs(&mut read).await?;
        packs.retain(|pack| pack.amendment == id);
        let stock_g = store::amendments::stock(&mut read).await?.remove(&id);
        Ok(AmendmentPage { row: with_cautions(row), analyses, packs, stock_g })
    }

    /// The packs on sale, by amendment and size.
    pub async fn packs(&self, actor: &Actor) -> Result<BTreeMap<AmendmentId, Vec<PackRow>>> {
        actor.may(Role::Reader)?;
        let mut by_amendment: BTreeMap<_, Vec<_>> = BTreeMap::new();
        for pack in store::amendments::packs(&mut *self.store.read().await?).await? {
            by_amendment.entry(pack.amendment).or_default().push(pack);
        }
        Ok(by_amendment)
    }

    /// What is left of each amendment that was ever counted, g.
    pub async fn stock(&self, actor: &Actor) -> Result<BTreeMap<AmendmentId, f64>> {
        actor.may(Role::Reader)?;
        Ok(store::amendments::stock(&mut *self.store.read().await?).await?)
    }

    /// Takes over every entry of the catalogue that the record has not, with pack sizes to
    /// start from; gives how many. `from` is the day the analyses hold from.
    pub async fn seed_catalogue(&self, actor: &Actor, from: Date) -> Result<usize> {
        actor.may(Role::Steward)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let known = store::amendments::all(&mut write, self.today(), true).await?;
        let mut changes = Vec::new();
        for entry in amendment::catalogue() {
            let there = |row: &AmendmentRow| {
                row.catalogue.as_deref() == Some(&entry.slug) || row.amendment.name.eq_ignore_ascii_case(&entry.name)
            };
            if known.iter().any(there) {
                continue;
            }
            let extra = Extra { catalogue: Some(entry.slug.clone()), ..Extra::default() };
            let id = store::amendments::insert(&mut write, entry, &extra).await?;
            store::amendments::insert_analysis(&mut write, id, from, &entry.analysis).await?;
            for kg in &entry.packs_kg {
                let pack = NewPack { mass_g: kg * 1000.0, price: None, supplier: String::new(), valid_from: from };
                store::amendments::insert_pack(&mut write, id, &pack).await?;
            }
            let summary = format!("{} was taken from the catalogue.", entry.name);
            changes.push(Change::new(Subject::Amendment(id), "added", summary));
        }
        if !changes.is_empty() {
            write.commit_all(&changes).await?;
        }
        Ok(changes.len())
    }

    /// Adds an own product with its analysis.
    pub async fn add_amendment(
        &self,
        actor: &Actor,
        form: &AmendmentForm,
        analysis: &AnalysisForm,
    ) -> Result<AmendmentId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let read = form.read(None).map_err(|error| problems.merge(error));
        let analysed = analysis.read(self.today()).map_err(|error| problems.merge(error));
        let ((amendment, extra), (from, analysis)) = match (read, analysed) {
            (Ok(read), Ok(analysed)) => (read, analysed),
            (Err(Err(other)), _) | (_, Err(Err(other))) => return Err(other),
            _ => return Err(Error::Invalid(problems)),
        };
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let id = store::amendments::insert(&mut write, &amendment, &extra).await.map_err(taken(&amendment.name))?;
        store::amendments::insert_analysis(&mut write, id, from, &analysis).await?;
        let summary = format!("{} was added.", amendment.name);
        write.commit(Change::new(Subject::Amendment(id), "added", summary)).await?;
        Ok(id)
    }

    /// Changes what is said about a product; its composition changes by a new analysis.
    pub async fn edit_amendment(&self, actor: &Actor, id: AmendmentId, form: &AmendmentForm) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let before = found(store::amendments::find(&mut write, id, self.today()).await?, "amendment")?;
        let (amendment, extra) = form.read(Some(&before))?;
        store::amendments::update(&mut write, id, form.revision, &amendment, &extra)
            .await
            .map_err(taken(&amendment.name))?;
        let change = Change::new(Subject::Amendment(id), "edited", format!("{} was edited.", amendment.name))
            .with(serde_json::json!({ "before": AmendmentForm::from(&before), "after": form }));
        Ok(write.commit(change).await?)
    }

    /// Records a new composition from a day on. What was put on before keeps its own.
    pub async fn add_analysis(&self, actor: &Actor, id: AmendmentId, form: &AnalysisForm) -> Result<AnalysisId> {
        actor.may(Role::Recorder)?;
        let (from, analysis) = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::amendments::find(&mut write, id, self.today()).await?, "amendment")?;
        let new = store::amendments::insert_analysis(&mut write, id, from, &analysis).await?;
        let label = if analysis.label.is_empty() { String::new() } else { format!(" ({})", analysis.label) };
        let summary = format!("{} has a new analysis{label} from {}.", row.amendment.name, day(from));
        write.commit(Change::new(Subject::Amendment(id), "analysed", summary)).await?;
        Ok(new)
    }

    /// Takes a product off the lists, or puts it back. Its record stays.
    pub async fn archive_amendment(&self, actor: &Actor, id: AmendmentId, archived: bool) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::amendments::find(&mut write, id, self.today()).await?, "amendment")?;
        store::amendments::set_archived(&mut write, id, archived.then(|| self.today())).await?;
        let what = if archived { "is no longer offered" } else { "is offered again" };
        let summary = format!("{} {what}.", row.amendment.name);
        Ok(write.commit(Change::new(Subject::Amendment(id), "archived", summary)).await?)
    }

    /// Adds a pack that can be bought.
    pub async fn add_pack(&self, actor: &Actor, id: AmendmentId, form: &PackForm) -> Result<PackId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let mass_kg = problems.number("mass_kg", &form.mass_kg, &Limits::PACK_KG);
        let price = problems.optional_money("price", &form.price);
        let currency = form.currency.trim().to_uppercase();
        if price.is_some() && (currency.len() != 3 || !currency.bytes().all(|b| b.is_ascii_uppercase())) {
            problems.add("currency", "Give the currency as its three letters, such as EUR.");
        }
        let valid_from = problems.optional_date("valid_from", &form.valid_from, self.today()).unwrap_or(self.today());
        problems.none()?;
        let mass_g = found(mass_kg, "mass")? * 1000.0;
        let pack = NewPack {
            mass_g,
            price: price.map(|minor| (minor, currency)),
            supplier: form.supplier.trim().to_owned(),
            valid_from,
        };
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::amendments::find(&mut write, id, self.today()).await?, "amendment")?;
        let new = store::amendments::insert_pack(&mut write, id, &pack).await?;
        let summary = format!("A pack of {} kg of {} was added.", form.mass_kg.trim(), row.amendment.name);
        write.commit(Change::new(Subject::Amendment(id), "packed", summary)).await?;
        Ok(new)
    }

    /// Gives a pack on sale a price, as typed: the same pack anew, and the old one off sale.
    pub async fn price_pack(&self, actor: &Actor, id: PackId, price: &str, currency: &str) -> Result<()> {
        let known = self.packs(actor).await?;
        let old = found(known.into_values().flatten().find(|pack| pack.id == id), "pack on sale")?;
        if price.trim().is_empty() {
            return Err(Error::invalid("price", "Give the price of one pack."));
        }
        let form = PackForm {
            mass_kg: (old.mass_g / 1000.0).to_string(),
            price: price.to_owned(),
            currency: currency.to_owned(),
            supplier: old.supplier,
            ..PackForm::default()
        };
        self.add_pack(actor, old.amendment, &form).await?;
        self.archive_pack(actor, id).await
    }

    /// Takes a pack off sale. A new price is a new pack.
    pub async fn archive_pack(&self, actor: &Actor, id: PackId) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let amendment = store::amendments::archive_pack(&mut write, id, self.today()).await?;
        Ok(write.commit(Change::new(Subject::Amendment(amendment), "packed", "A pack was taken off sale.")).await?)
    }

    /// Notes what was found in the shed, in kg.
    pub async fn count_stock(&self, actor: &Actor, id: AmendmentId, counted_on: &str, mass_kg: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let on = problems.past_date("counted_on", counted_on, self.today());
        let limits = Limits { low: Low::AtLeast(0.0), ..Limits::PACK_KG };
        let kg = problems.number("mass_kg", mass_kg, &limits);
        problems.none()?;
        let (on, kg) = (found(on, "date")?, found(kg, "mass")?);
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::amendments::find(&mut write, id, self.today()).await?, "amendment")?;
        store::amendments::insert_stock_count(&mut write, id, on, kg * 1000.0).await?;
        let summary = format!("Counted on {}: {} kg of {}.", day(on), mass_kg.trim(), row.amendment.name);
        Ok(write.commit(Change::new(Subject::Amendment(id), "counted", summary)).await?)
    }
}

fn taken(name: &str) -> impl FnOnce(store::Error) -> Error {
    let message = format!("“{name}” is taken already.");
    move |error| if error.is_duplicate() { Error::invalid("name", message) } else { error.into() }
}
