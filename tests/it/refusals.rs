//! Every refused computation says what is missing: a table of refusals, each with the words that
//! its sentence must hold: the line, method or field that the grower has to fill. Then the same
//! on the pages that show them.

use super::{
    interpretation::{ec, ground, mg_kg, mg_l, nitrate, percent, ph, reading},
    opinion_pages::Field,
};
use glebe::agronomy::{
    analyte::Analyte,
    carbonate::Signs,
    contaminant,
    cores::cores,
    crop::Crop,
    drift::DEFAULT_ERRORS,
    element::Element,
    exchange_capacity::{Capacity, Parts, Withheld, acidity_from_buffer, capacity},
    ground::Texture,
    guideline::{self, LandUse, Position},
    lime::{self, Aim, FinenessScheme, LimeMethod, LimeProduct, LimeValue, Soil},
    method::Method,
    micronutrient::{self, Conditions, IndexOf},
    nitrogen,
    quantity::{Centimetres, CmolPerKg, GramsPerCm3, Percent},
    reading::{Divisors, Level, Reading, read_all},
    record::{Basis, CellKey, Determination, PrintedValue, Qualifier, Report, Sampling, Unit},
    salinity::{self, Exchange, GypsumCase, Solution},
    standing::{Chosen, Setting, stand},
};

/// What was asked, the sentence that came, and what it must name.
type Row = (&'static str, String, &'static [&'static str]);

fn refused<T>(answer: Result<T, String>) -> String {
    answer.err().unwrap_or_else(|| "(not refused)".into())
}

fn withheld<T>(answer: Result<T, Withheld>) -> String {
    answer.err().map_or_else(|| "(not refused)".into(), |withheld| withheld.reason)
}

/// Why a printed cell cannot be read.
fn unread(analyte: Analyte, method: Method, printed: &str, unit: Unit, basis: Basis) -> String {
    let (value, decimals) = (printed.parse().ok(), 0);
    let printed = PrintedValue { text: printed.into(), qualifier: Qualifier::Exact, value, decimals };
    let cell = Determination { key: CellKey(1), analyte, method, printed, unit, form: None, basis, layer: None };
    let sampling = Sampling {
        key: 1,
        sampled_on: jiff::civil::date(2024, 10, 1),
        date_assumed: false,
        depth: None,
        cores: None,
        fizz: None,
        reports: vec![Report { key: 1, lab: "a lab".into(), determinations: vec![cell] }],
    };
    read_all(&sampling).1.pop().map_or_else(|| "(read)".into(), |unreadable| unreadable.reason)
}

fn row(asked: &'static str, sentence: String, names: &'static [&'static str]) -> Row {
    (asked, sentence, names)
}

fn cells() -> Vec<Row> {
    let phosphorus = Analyte::Element(Element::P);
    vec![
        row(
            "conductivity without its dilution",
            unread(Analyte::Conductivity, Method::Unstated, "1.2", Unit::DsPerM, Basis::Mass),
            &["dilution", "saturated paste, 1:1, 1:2, 1:5", "method of the line"],
        ),
        row(
            "salts in ppm",
            unread(Analyte::Conductivity, Method::Ec1to2, "640", Unit::Ppm, Basis::Mass),
            &["640 to 700", "Ask the laboratory for the conductivity itself"],
        ),
        row(
            "a conductivity in another unit",
            unread(Analyte::Conductivity, Method::Ec1to2, "1", Unit::Percent, Basis::Mass),
            &["unit", "dS/m, mS/cm or µS/cm"],
        ),
        row(
            "pounds an acre without a soil mass",
            unread(phosphorus, Method::Mehlich3Icp, "60", Unit::LbPerAcre, Basis::Mass),
            &["“Soil mass behind a figure per area”", "2,000,000 lb"],
        ),
        row(
            "pounds an acre of a scooped soil without depth",
            unread(phosphorus, Method::Olsen, "60", Unit::LbPerAcre, Basis::Volume),
            &["depth that was sampled", "on the sampling"],
        ),
    ]
}

fn lime_and_capacity() -> Vec<Row> {
    let ground = ground();
    let none = Soil { ph: None, buffers: vec![], acidity: None, aluminium: None, ground: &ground };
    let sour = ph(5.2);
    let salt = reading(Analyte::Ph, Method::PhCalciumChloride, Level::Ph(5.2));
    let nameless = reading(Analyte::BufferPh, Method::Unstated, Level::Ph(6.4));
    let sikora = reading(Analyte::BufferPh, Method::BufferSikora, Level::Ph(6.4));
    let limit = Reading { qualifier: Qualifier::Below, ..sikora.clone() };
    let acid = mg_kg("Al", Method::Mehlich3Icp, 900.0);
    let ask = |method, soil: Soil<'_>| refused(lime::requirement(method, &soil, &Aim::default()));
    let sulfur = |ph: &Reading, signs: &Signs| match lime::lower_ph(ph, 6.5, None, signs, &ground) {
        Ok(_) => "(not refused)".into(),
        Err(not) => not.reason,
    };
    let fizz = Signs { reasons: vec!["It fizzes with 1 M hydrochloric acid".into()], ..Signs::default() };
    let calcium = mg_kg("Ca", Method::AmmoniumAcetate7, 1200.0);
    let bases = |more: &[Reading]| {
        let all = std::iter::once(&calcium).chain(more).cloned();
        all.filter_map(|r| Some((r.analyte.element()?, r))).collect()
    };
    let three = bases(&[mg_kg("Mg", Method::AmmoniumAcetate7, 120.0), mg_kg("K", Method::AmmoniumAcetate7, 150.0)]);
    let exact = Divisors::exact();
    let sum = |parts: Parts, signs: &Signs| withheld(capacity(&parts, signs, &exact));
    let plain = Signs::default();
    let no_fractions = LimeProduct {
        value: LimeValue::Carbonate(90.0),
        fineness: FinenessScheme::find("scma").map(|scheme| (scheme, &[50.0][..])),
        moisture_percent: None,
    };
    vec![
        row("lime without pH", ask(LimeMethod::UnitedKingdom, none.clone()), &["soil pH", "pH in water"]),
        row(
            "lime by pH in salt",
            ask(LimeMethod::UnitedKingdom, Soil { ph: Some(&salt), ..none.clone() }),
            &["pH in water", "line of the sheet"],
        ),
        row(
            "lime without a buffer pH",
            ask(LimeMethod::OregonSikora, Soil { ph: Some(&sour), ..none.clone() }),
            &["buffer pH", "Sikora buffer"],
        ),
        row(
            "lime by a nameless buffer",
            ask(LimeMethod::OregonSikora, Soil { ph: Some(&sour), buffers: vec![&nameless], ..none.clone() }),
            &["naming the buffer", "ask the laboratory which buffer", "method of the line"],
        ),
        row(
            "lime by another buffer",
            ask(LimeMethod::IrelandSmp, Soil { ph: Some(&sour), buffers: vec![&sikora], ..none.clone() }),
            &["SMP buffer", "Sikora buffer", "would be needed"],
        ),
        row(
            "lime by a limit",
            ask(LimeMethod::OregonSikora, Soil { ph: Some(&sour), buffers: vec![&limit], ..none.clone() }),
            &["only a limit", "ask the laboratory for the number"],
        ),
        row("lime without aluminium", ask(LimeMethod::Kamprath, none.clone()), &["aluminium", "potassium chloride"]),
        row(
            "lime by aluminium of an acid extract",
            ask(LimeMethod::Kamprath, Soil { aluminium: Some(&acid), ..none.clone() }),
            &["potassium chloride"],
        ),
        row(
            "sulfur on fizzing ground",
            sulfur(&ph(7.2), &fizz),
            &["free lime", "g of sulfur per m²", "carbonate test"],
        ),
        row("sulfur by pH in salt", sulfur(&salt, &plain), &["pH in water"]),
        row(
            "a lime whose fractions are short",
            refused(no_fractions.effective_percent()),
            &["4 fractions", "finer than 60 mesh"],
        ),
        row(
            "acidity by a nameless buffer",
            withheld(acidity_from_buffer(&nameless)),
            &["lime buffer", "ask the laboratory", "method of the line"],
        ),
        row("a capacity of nothing", sum(Parts::default(), &plain), &["calcium, magnesium and potassium"]),
        row(
            "a capacity without potassium",
            sum(
                Parts {
                    cations: bases(&[mg_kg("Mg", Method::AmmoniumAcetate7, 120.0)]),
                    ph: Some(ph(7.1)),
                    ..Parts::default()
                },
                &plain,
            ),
            &["potassium", "by the same method"],
        ),
        row(
            "a capacity of sour soil without acidity",
            sum(Parts { cations: three, ph: Some(sour.clone()), ..Parts::default() }, &plain),
            &["acidity", "buffer pH with the buffer's name"],
        ),
        row(
            "a capacity where it fizzes",
            sum(Parts { cations: bases(&[]), ph: Some(ph(7.8)), ..Parts::default() }, &fizz),
            &["free lime", "extraction at pH 8.2 to 8.5"],
        ),
    ]
}

fn salts_and_traces() -> Vec<Row> {
    let crop = |slug: &str| Crop::find(slug).unwrap();
    let capacity = Capacity {
        level: Level::CmolPerKg(CmolPerKg(10.0)),
        stated: true,
        working: ph(7.0).working,
        cations: [].into(),
        acidity: None,
        base_saturation: None,
        notes: vec![],
    };
    let case = |purity: f64, losses: f64| GypsumCase {
        exchange: Exchange { capacity: CmolPerKg(20.0), esp_from: Percent(20.0), esp_to: Percent(10.0) },
        depth: Centimetres(15.0),
        bulk_density: GramsPerCm3(1.3),
        losses,
        purity: Percent(purity),
        moisture: Percent(0.0),
    };
    let conditions = Conditions { texture: Texture::Loam, ph: None, phosphorus: None };
    let boron = micronutrient::context(&mg_kg("B", Method::Unstated, 0.4), &conditions, false).unwrap();
    let zinc = micronutrient::context(&mg_kg("Zn", Method::Mehlich3Icp, 0.4), &conditions, false).unwrap();
    let of_zinc = zinc.not_for_this_plot.iter().map(|(_, why)| why.clone()).collect::<Vec<_>>().join(" ");
    let salt = reading(Analyte::Ph, Method::PhCalciumChloride, Level::Ph(6.0));
    let manganese = mg_kg("Mn", Method::Mehlich3Icp, 10.0);
    let index =
        |which, manganese: &Reading, ph: &Reading| refused(micronutrient::manganese_index(which, manganese, ph));
    vec![
        row(
            "a class of salts without dilution",
            refused(salinity::class(&ec(Method::Unstated, 1.2), None)),
            &["dilution", "method of the line"],
        ),
        row(
            "a class at 1:5 without clay",
            refused(salinity::class(&ec(Method::Ec1to5, 0.3), None)),
            &["clay content", "particle-size test", "line of the sheet"],
        ),
        row(
            "a crop’s yield without the paste",
            refused(salinity::relative_yield(&crop("tomato"), &ec(Method::Ec1to2, 1.0), false)),
            &["saturated paste"],
        ),
        row(
            "a crop that was only rated",
            refused(salinity::relative_yield(&crop("kale"), &ec(Method::EcPaste, 3.0), false)),
            &["Kale", "no numbers are published"],
        ),
        row(
            "sodium’s share without sodium",
            refused(salinity::exchangeable_sodium(&capacity)),
            &["Sodium is not on the sheet", "line of the sheet", "share of the capacity"],
        ),
        row(
            "the adsorption ratio without an extract",
            refused(Solution::from_readings(&[])),
            &["calcium", "saturation extract", "mg/L"],
        ),
        row(
            "gypsum by a fraction of purity",
            refused(salinity::gypsum_requirement(&case(0.9, 1.1))),
            &["purity", "per cent"],
        ),
        row(
            "gypsum without losses",
            refused(salinity::gypsum_requirement(&case(90.0, 2.0))),
            &["losses", "1.1 to 1.3"],
        ),
        row("boron without its extraction", boron.summary, &["boron", "ask the laboratory", "method of the line"]),
        row("zinc limits that go by pH", of_zinc, &["no pH was read"]),
        row("the manganese index by pH in salt", index(IndexOf::Rutgers, &manganese, &salt), &["pH in water"]),
        row(
            "the manganese index by another extract",
            index(IndexOf::Rutgers, &mg_kg("Mn", Method::Dtpa, 10.0), &ph(6.0)),
            &["Mehlich-3"],
        ),
        row(
            "North Carolina’s index by mass",
            index(IndexOf::NorthCarolina, &manganese, &ph(6.0)),
            &["by volume of soil"],
        ),
        row(
            "lead without its method",
            refused(contaminant::content(&mg_kg("Pb", Method::Unstated, 90.0))),
            &["total or extracted", "ask the laboratory", "method of the line"],
        ),
        row("lead by volume", refused(contaminant::content(&mg_l("Pb", Method::Total, 90.0))), &["by mass of soil"]),
    ]
}

fn nitrogen_and_standing() -> Vec<Row> {
    let shallow = Reading { depth: None, ..nitrate(20.0) };
    let shipped: Vec<_> = guideline::builtin().iter().flat_map(|set| set.nitrate.iter().cloned()).collect();
    let tests = nitrogen::by_every_nitrate_test(&shipped, &nitrate(20.0), &nitrogen::Asked::default());
    let of = |publisher: &str| {
        let found = tests.iter().find(|(test, _)| test.name == publisher);
        found.map_or_else(|| "(no such test)".into(), |(_, says)| refused(says.clone().map(|_| ())))
    };
    let signs = Signs::default();
    let setting = Setting {
        errors: &DEFAULT_ERRORS,
        land_use: LandUse::Vegetables,
        texture: Texture::Loam,
        signs: &signs,
        capacity: Err("Below pH 7 the capacity needs the acidity.".into()),
    };
    let stands = |reading: &Reading, slug: &str| {
        let standing = stand(&[Chosen { reading, reasons: &[] }], guideline::find(slug).unwrap(), &setting);
        match &standing.nutrients[0].position {
            Position::NoCriterion(why) | Position::NotKnown(why) => why.clone(),
            other => format!("(judged: {})", other.words()),
        }
    };
    let matter = percent(Analyte::Carbonate, Method::Calcimeter, 2.0);
    vec![
        row("Ohio’s test without a base rate", of("Ohio State"), &["“Base rate, Ohio State”"]),
        row("Penn State’s test without a yield", of("Penn State"), &["“Grain expected, Penn State”"]),
        row(
            "nitrate in the ground without a depth",
            refused(nitrogen::nitrate_in_ground(&shallow, &ground())),
            &["depth", "on the sampling"],
        ),
        row(
            "nitrate by volume",
            refused(nitrogen::by_nitrate_test(
                shipped.iter().find(|test| test.name == "University of California").unwrap(),
                &mg_l("nitrate_n", Method::PotassiumChloride, 20.0),
                &nitrogen::Asked::default(),
            )),
            &["by mass of soil"],
        ),
        row(
            "nitrogen by the yield of a crop that no table counts",
            refused(nitrogen::uptake_demand(&Crop::find("rhubarb").unwrap(), 10.0)),
            &["rhubarb", "type what it takes"],
        ),
        row(
            "nitrogen from something that is no organic matter",
            refused(nitrogen::from_organic_matter(&matter, &ground(), 3.0)),
            &["organic matter or organic carbon"],
        ),
        row(
            "a nutrient whose extraction is not stated",
            stands(&mg_kg("P", Method::Unstated, 20.0), "rutgers_mehlich3"),
            &["Phosphorus", "ask the laboratory", "method of the line"],
        ),
        row(
            "a nutrient by another extraction",
            stands(&mg_kg("P", Method::Olsen, 20.0), "rutgers_mehlich3"),
            &["Mehlich-3", "this result is by Olsen"],
        ),
        row(
            "a share of the capacity without one",
            stands(&mg_kg("K", Method::AmmoniumAcetate7, 90.0), "saturation_bear"),
            &["capacity needs the acidity"],
        ),
        row(
            "a manganese class without pH",
            stands(&mg_kg("Mn", Method::Mehlich3Icp, 10.0), "rutgers_mehlich3"),
            &["pH", "no pH was read"],
        ),
        row("cores without a spread", refused(cores(f64::NAN, 10.0)), &["single cores differ", "type it"]),
        row("cores without a wish", refused(cores(30.0, f64::NAN)), &["How near the mean is wanted", "type it"]),
    ]
}

#[test]
fn every_refusal_says_what_is_missing() {
    let rows = [cells(), lime_and_capacity(), salts_and_traces(), nitrogen_and_standing()].concat();
    assert!(rows.len() >= 45, "{}", rows.len());
    let mut silent = Vec::new();
    for (asked, sentence, names) in &rows {
        let lacks: Vec<&&str> = names.iter().filter(|name| !sentence.contains(**name)).collect();
        let whole =
            sentence.chars().next().is_some_and(|c| c.is_uppercase() || !c.is_ascii()) || asked.contains("zinc");
        if !lacks.is_empty() || !whole {
            silent.push(format!("{asked}: “{sentence}” lacks {lacks:?}"));
        }
    }
    assert!(silent.is_empty(), "{} of {}:\n{}", silent.len(), rows.len(), silent.join("\n"));
}

#[tokio::test]
async fn pages_say_what_is_missing_where_they_refuse() {
    let lines = [
        ("ph", "ph_water", "5.2", "pH"),
        ("buffer_ph", "unstated", "6.4", "pH"),
        ("ec", "unstated", "1.2", "dS/m"),
        ("B", "unstated", "0.4", "mg/kg"),
        ("Pb", "unstated", "90", "mg/kg"),
        ("P", "unstated", "20", "mg/kg"),
        ("Ca", "mehlich3_icp", "900", "mg/kg"),
        ("Mg", "mehlich3_icp", "90", "mg/kg"),
        ("K", "mehlich3_icp", "90", "mg/kg"),
    ];
    let field = Field::tested(&lines, "open", &[]).await;
    for (page, named) in [
        ("/lime", &["without naming the buffer", "method of the line"][..]),
        ("/salts", &["without its dilution", "No gypsum is reckoned.", "The share of sodium is not known"]),
        ("/traces", &["does not say how boron was drawn out", "Manganese was not tested here"]),
        ("/contaminants", &["does not say whether this lead is total or extracted"]),
        ("/nitrogen", &["What the crop takes is not known.", "Type it below"]),
        ("", &["does not say how this was extracted", "method of the line"]),
    ] {
        let seen = field.words(page).await;
        for name in named {
            assert!(seen.contains(name), "{page}: {name}: {seen}");
        }
    }
}
