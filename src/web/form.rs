//! A form as a person left it: what was typed, and what is wrong with each field.
//! It never loses what was typed, and it never decides what is right; the app does.

use super::error::Error;
use crate::app;
use axum::{
    extract::{FromRequest, Request},
    http::StatusCode,
    response::IntoResponse,
};
use serde::{
    Serialize,
    de::{DeserializeOwned, Deserializer, IntoDeserializer, Visitor, value},
    forward_to_deserialize_any,
};
use std::{collections::BTreeMap, fmt::Display};

/// Typed values by field name, and problems by field name. A template shows it through
/// the macros of `parts/form.html`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Form {
    typed: BTreeMap<String, Vec<String>>,
    problems: BTreeMap<String, Vec<String>>,
}

impl Form {
    /// An empty form.
    pub fn new() -> Form {
        Form::default()
    }

    /// A form with these fields filled in.
    pub fn filled<N: Into<String>, V: ToString>(fields: impl IntoIterator<Item = (N, V)>) -> Form {
        let mut form = Form::new();
        for (name, value) in fields {
            form.typed.entry(name.into()).or_default().push(value.to_string());
        }
        form
    }

    /// A form filled with the fields of a struct: how a page to edit something starts.
    pub fn of(fields: &impl Serialize) -> Form {
        let mut form = Form::new();
        let Ok(serde_json::Value::Object(fields)) = serde_json::to_value(fields) else { return form };
        let text = |value: &serde_json::Value| match value {
            serde_json::Value::Null => String::new(),
            serde_json::Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        for (name, value) in fields {
            let values = match &value {
                serde_json::Value::Array(items) => items.iter().map(text).collect(),
                other => vec![text(other)],
            };
            form.typed.insert(name, values);
        }
        form
    }

    /// The fields as one of the app's form structs. It fails only where the request was
    /// not made by the page: a number of the form's own, such as its revision, is none.
    pub fn read_as<T: DeserializeOwned>(&self) -> Result<T, Error> {
        let fields = self.typed.iter().map(|(name, values)| (name.as_str(), Typed(values)));
        let fields = value::MapDeserializer::<_, value::Error>::new(fields);
        T::deserialize(fields).map_err(|_| Error::from_status(StatusCode::BAD_REQUEST))
    }

    /// What was typed in a field, with the space around it removed; empty where nothing was.
    pub fn value(&self, name: &str) -> &str {
        self.typed.get(name).and_then(|values| values.first()).map_or("", |value| value.trim())
    }

    /// Exactly what was typed, spaces and all: for passwords and pasted tables.
    pub fn verbatim(&self, name: &str) -> &str {
        self.typed.get(name).and_then(|values| values.first()).map_or("", String::as_str)
    }

    /// Every value of a field that may be given more than once.
    pub fn all(&self, name: &str) -> &[String] {
        self.typed.get(name).map_or(&[], Vec::as_slice)
    }

    /// Every field with each of its values, by name.
    pub fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.typed.iter().flat_map(|(name, values)| values.iter().map(|value| (name.as_str(), value.as_str())))
    }

    /// Whether a box of this name and value is ticked, or an option chosen.
    pub fn has(&self, name: &str, value: impl ToString) -> bool {
        self.all(name).contains(&value.to_string())
    }

    /// Rows by key: of fields named `value[12]`, `value[15]`, those of "value" by "12", "15".
    pub fn rows(&self, name: &str) -> BTreeMap<&str, &str> {
        self.typed
            .iter()
            .filter_map(|(field, values)| {
                let key = field.strip_prefix(name)?.strip_prefix('[')?.strip_suffix(']')?;
                Some((key, values.first()?.trim()))
            })
            .collect()
    }

    /// Sets a field, in place of whatever it held.
    pub fn set(&mut self, name: impl Into<String>, value: impl ToString) {
        self.typed.insert(name.into(), vec![value.to_string()]);
    }

    /// Notes a problem with a field; an empty name is a problem with the form as a whole.
    pub fn problem(&mut self, name: impl Into<String>, message: impl Into<String>) {
        self.problems.entry(name.into()).or_default().push(message.into());
    }

    /// The problems of one field.
    pub fn problems(&self, name: &str) -> &[String] {
        self.problems.get(name).map_or(&[], Vec::as_slice)
    }

    /// The names of the fields that have problems.
    pub fn wrong_fields(&self) -> impl Iterator<Item = &str> {
        self.problems.keys().map(String::as_str)
    }

    /// How many fields have problems.
    pub fn wrong(&self) -> usize {
        self.problems.len()
    }

    /// Reads a field; on failure the sentence stands by it and the answer is `None`.
    pub fn read<T, E: Display>(&mut self, name: &str, read: impl FnOnce(&str) -> Result<T, E>) -> Option<T> {
        match read(self.value(name)) {
            Ok(value) => Some(value),
            Err(problem) => {
                self.problem(name, problem.to_string());
                None
            }
        }
    }

    /// The same for a form that edits a row. Where somebody else changed the row meanwhile, what
    /// the record now holds is shown by each field that differs, and the next save replaces it.
    pub fn refused_edit(self, error: app::Error, recorded: &impl Serialize) -> Result<Form, Error> {
        let stale = matches!(error, app::Error::Conflict(_));
        let mut form = self.refused(error)?;
        if stale {
            for (name, values) in Form::of(recorded).typed {
                let now = values.join(", ");
                if name == "revision" {
                    form.set(name, now);
                } else if form.all(&name).join(", ") != now {
                    let held = if now.is_empty() { "nothing".into() } else { format!("“{now}”") };
                    form.problem(name, format!("The record now holds {held}."));
                }
            }
        }
        Ok(form)
    }

    /// The form with the app's objections in it, to be shown again; any other failure stays one.
    pub fn refused(mut self, error: app::Error) -> Result<Form, Error> {
        match error {
            app::Error::Invalid(problems) => {
                for problem in problems.0 {
                    self.problem(problem.field, problem.message);
                }
                Ok(self)
            }
            app::Error::Conflict(message) => {
                self.problem("", message);
                Ok(self)
            }
            wait @ app::Error::TooManyTries(_) => {
                self.problem("", wait.to_string());
                Ok(self)
            }
            other => Err(other.into()),
        }
    }
}

impl<S: Send + Sync> FromRequest<S> for Form {
    type Rejection = Error;

    async fn from_request(request: Request, state: &S) -> Result<Form, Error> {
        let fields = axum_extra::extract::Form::<Vec<(String, String)>>::from_request(request, state).await;
        let fields = fields.map_err(|rejection| Error::from_status(rejection.into_response().status()))?;
        Ok(Form::filled(fields.0))
    }
}

/// The values of one field, read as whatever the struct asks for.
struct Typed<'a>(&'a [String]);

macro_rules! parsed {
    ($($method:ident $visit:ident),* $(,)?) => {$(
        fn $method<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, value::Error> {
            match self.first().trim().parse() {
                Ok(parsed) => visitor.$visit(parsed),
                Err(_) => visitor.visit_str(self.first()),
            }
        }
    )*};
}

impl<'a> Typed<'a> {
    fn first(&self) -> &'a str {
        self.0.first().map_or("", String::as_str)
    }
}

impl<'de> Deserializer<'de> for Typed<'_> {
    type Error = value::Error;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, value::Error> {
        visitor.visit_str(self.first())
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, value::Error> {
        visitor.visit_seq(value::SeqDeserializer::new(self.0.iter().map(String::as_str)))
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, value::Error> {
        if self.first().trim().is_empty() { visitor.visit_none() } else { visitor.visit_some(self) }
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, value::Error> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, value::Error> {
        visitor.visit_bool(matches!(self.first(), "on" | "true" | "1"))
    }

    parsed! {
        deserialize_i64 visit_i64, deserialize_i32 visit_i32, deserialize_u64 visit_u64,
        deserialize_u32 visit_u32, deserialize_f64 visit_f64,
    }

    forward_to_deserialize_any! {
        i8 i16 i128 u8 u16 u128 f32 char str string bytes byte_buf unit unit_struct tuple tuple_struct map struct
        enum identifier ignored_any
    }
}

impl<'de> IntoDeserializer<'de> for Typed<'_> {
    type Deserializer = Self;

    fn into_deserializer(self) -> Self {
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
    #[serde(default)]
    struct Bed {
        name: String,
        crops: Vec<String>,
        revision: i64,
        block: Option<crate::ids::BlockId>,
    }

    #[test]
    fn a_struct_fills_a_form_and_reads_back_from_it() {
        let bed = Bed { name: "3".into(), crops: vec!["leek".into()], revision: 4, block: None };
        assert_eq!(Form::of(&bed).read_as::<Bed>().unwrap(), bed);
        let mut form = Form::filled([("crops", "kale"), ("crops", "leek"), ("block", "7"), ("unknown", "x")]);
        let read: Bed = form.read_as().unwrap();
        assert_eq!((read.crops.len(), read.block), (2, Some(crate::ids::BlockId(7))));
        form.set("revision", "four");
        assert!(form.read_as::<Bed>().is_err());
    }

    #[test]
    fn what_was_typed_is_kept_beside_what_is_wrong() {
        let mut form = Form::filled([("area", " 0,5 "), ("plot", "3"), ("plot", "4"), ("value[12]", "<0.1")]);
        assert_eq!(form.value("area"), "0,5");
        assert!(form.has("plot", 4) && !form.has("plot", 5));
        assert_eq!(form.rows("value"), BTreeMap::from([("12", "<0.1")]));
        let read = form.read("area", |text| text.parse::<f64>().map_err(|_| "not a number"));
        assert_eq!(
            (read, form.problems("area"), form.verbatim("area")),
            (None, &["not a number".to_owned()][..], " 0,5 ")
        );
    }
}
