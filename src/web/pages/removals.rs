//! What crops carry away: the published figures side by side, each with its source, and the
//! grower's own beside them.

use super::plots::under_site;
use crate::{
    agronomy::{
        crop::{CROPS, Crop},
        element::Element,
        offtake::{self, BALANCED, Figures, Part},
    },
    app::{
        plots::SiteRow,
        removals::{OwnRemoval, RemovalForm},
    },
    ids::SiteId,
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{Html, IntoResponse, Response},
};

/// All crops with what is known of them.
#[derive(Template, WebTemplate)]
#[template(path = "pages/removals/list.html")]
pub struct ListPage {
    frame: Frame,
    site: SiteRow,
    crops: Vec<CropLine>,
}

struct CropLine {
    slug: &'static str,
    name: &'static str,
    /// The site has figures of its own.
    own: bool,
    /// N, P, K in a tonne, as used; empty where nobody says.
    figures: Vec<String>,
}

/// One crop.
#[derive(Template)]
#[template(path = "pages/removals/crop.html")]
struct CropPage<'a> {
    frame: Frame,
    site: &'a SiteRow,
    crop: Crop,
    form: Form,
    used: Vec<Used<'a>>,
    unknown: String,
    printed: Vec<Printed>,
    own: Option<&'a OwnRemoval>,
    past: Vec<&'a OwnRemoval>,
}

/// The figure that ledgers use.
struct Used<'a> {
    name: &'static str,
    figure: String,
    range: String,
    steps: Steps<'a>,
}

/// A row of a published table.
struct Printed {
    stated: String,
    counted: bool,
    figures: String,
    source: String,
    address: Option<String>,
    evidence: &'static str,
    note: String,
}

fn figures_of(own: Option<&OwnRemoval>) -> Figures {
    own.map_or(Figures::Tables, |own| Figures::Own { kg_per_t: own.kg_per_t.clone(), words: own.source.clone() })
}

/// `GET /sites/{site}/removals`
pub async fn list(cx: Cx, Path(id): Path<SiteId>) -> Result<ListPage> {
    let site = cx.app.site(&cx.actor, id).await?;
    let own = cx.app.own_removals(&cx.actor, id, false).await?;
    let line = |crop: &'static Crop| {
        let own = own.iter().find(|own| own.crop == crop.slug);
        let of = |element| offtake::removal(Some(crop), element, &figures_of(own));
        let figure = |element| of(element).map_or_else(String::new, |r| show::significant(r.kg_per_t.mid, 2));
        CropLine {
            slug: crop.slug,
            name: crop.name,
            own: own.is_some(),
            figures: [Element::N, Element::P, Element::K].map(figure).into(),
        }
    };
    let crops = CROPS.iter().filter(|crop| !crop.stays_on_the_plot()).map(line).collect();
    Ok(ListPage { frame: under_site(&cx, &site, "What crops carry away"), site, crops })
}

/// What the fruit carries away of a plant's uptake, where the publisher says what it holds.
fn in_fruit(row: &offtake::RemovalRow) -> Option<String> {
    let held = |element: &Element| {
        let (least, most) = offtake::fruit_holds(*element)?;
        let span = row.in_fruit(*element)?;
        let kg = |value: f64| show::significant(value, 2);
        Some(format!("{element} {least} to {most} %, {} to {}", kg(span.low), kg(span.high)))
    };
    let held: Vec<String> = row.kg_per_t.keys().filter_map(held).collect();
    (!held.is_empty()).then(|| {
        let note = if row.note.is_empty() { String::new() } else { format!("{} ", row.note) };
        format!("{note}The fruit holds {} kg of it.", held.join("; "))
    })
}

fn printed(crop: &Crop) -> Vec<Printed> {
    let line = |row: &offtake::RemovalRow| {
        let figures = row.kg_per_t.iter().map(|(element, span)| {
            let range = match span.has_range() {
                true => format!("{} to {}", show::significant(span.low, 2), show::significant(span.high, 2)),
                false => show::significant(span.mid, 2),
            };
            let doubted = if row.doubted.contains(element) { " (doubted, not used)" } else { "" };
            format!("{element} {range}{doubted}")
        });
        let year = if row.source.year > 0 { format!(", {}", row.source.year) } else { String::new() };
        Printed {
            stated: row.stated.clone(),
            counted: row.part == Part::Carried,
            figures: figures.collect::<Vec<_>>().join(" · "),
            source: format!("{}, {}{year}", row.source.publisher, row.source.title),
            address: show::address(&row.source).map(str::to_owned),
            evidence: row.source.evidence.words(),
            note: in_fruit(row).unwrap_or_else(|| row.note.clone()),
        }
    };
    offtake::rows_for(crop).into_iter().map(line).collect()
}

/// The field of an element in the form.
fn field(element: &Element) -> String {
    format!("kg_per_t[{element}]")
}

async fn page(cx: &Cx, id: SiteId, crop: &str, form: Option<Form>) -> Result<Response> {
    let crop = Crop::find(crop).ok_or_else(Error::not_found)?;
    let site = cx.app.site(&cx.actor, id).await?;
    let all = cx.app.own_removals(&cx.actor, id, true).await?;
    let of_crop: Vec<&OwnRemoval> = all.iter().filter(|own| own.crop == crop.slug).collect();
    let own = of_crop.iter().copied().find(|own| own.voided_at.is_none());
    let figures = figures_of(own);
    let found: Vec<_> =
        BALANCED.iter().map(|element| (element, offtake::removal(Some(&crop), *element, &figures))).collect();
    let used = found.iter().filter_map(|(element, removal)| {
        let removal = removal.as_ref()?;
        let span = removal.kg_per_t;
        let range = match span.has_range() {
            true => format!("{} to {}", show::significant(span.low, 2), show::significant(span.high, 2)),
            false => String::new(),
        };
        let figure = format!("{}\u{a0}kg/t", show::significant(span.mid, 3));
        Some(Used { name: element.name(), figure, range, steps: Steps::of(&removal.working, &|_| None) })
    });
    let unknown: Vec<&str> = found.iter().filter(|(_, removal)| removal.is_none()).map(|(e, _)| e.name()).collect();
    let form = form.unwrap_or_else(|| {
        let known = own.into_iter().flat_map(|own| own.kg_per_t.iter().map(|(e, value)| (field(e), value.to_string())));
        Form::filled(known.chain(own.map(|own| ("source".to_owned(), own.source.clone()))))
    });
    let title = format!("What {} carries away", crop.in_sentence());
    let page = CropPage {
        frame: under_site(cx, &site, title).under(format!("/sites/{id}/removals"), "What crops carry away"),
        used: used.collect(),
        unknown: unknown.join(", "),
        printed: printed(&crop),
        own,
        past: of_crop.iter().copied().filter(|own| own.voided_at.is_some()).collect(),
        site: &site,
        crop,
        form,
    };
    let page = page.render().map_err(|_| Error::from_status(StatusCode::INTERNAL_SERVER_ERROR))?;
    Ok(Html(page).into_response())
}

/// `GET /sites/{site}/removals/{crop}`
pub async fn crop(cx: Cx, Path((site, crop)): Path<(SiteId, String)>) -> Result<Response> {
    page(&cx, site, &crop, None).await
}

/// `POST /sites/{site}/removals/{crop}`
pub async fn set(cx: Cx, Path((site, crop)): Path<(SiteId, String)>, form: Form) -> Result<Response> {
    let kg_per_t = form.rows("kg_per_t").into_iter().map(|(symbol, typed)| (symbol.to_owned(), typed.to_owned()));
    let typed = RemovalForm { kg_per_t: kg_per_t.collect(), source: form.value("source").to_owned() };
    match cx.app.set_own_removal(&cx.actor, site, &crop, &typed).await {
        Ok(()) => Ok(see(format!("/sites/{site}/removals/{crop}"))
            .say("Your own figures are in force; the published ones stay beside them.")
            .into_response()),
        Err(error) => {
            let page = page(&cx, site, &crop, Some(form.refused(error)?)).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `POST /sites/{site}/removals/{crop}/void`
pub async fn void(cx: Cx, Path((site, crop)): Path<(SiteId, String)>, form: Form) -> Result<Response> {
    match cx.app.void_own_removal(&cx.actor, site, &crop, form.value("reason")).await {
        Ok(()) => Ok(see(format!("/sites/{site}/removals/{crop}"))
            .say("The published figures are in force again.")
            .into_response()),
        Err(error) => {
            let page = page(&cx, site, &crop, Some(form.refused(error)?)).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

impl CropPage<'_> {
    fn elements(&self) -> Vec<(String, &'static str)> {
        BALANCED.iter().map(|element| (field(element), element.name())).collect()
    }
}
