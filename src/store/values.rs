//! How dates, times and the trade's keyed words travel between SQLite's TEXT and Rust.
//!
//! A statement names the wrapper (`sampled_on as "sampled_on: Day"`) and the row struct
//! holds the plain type; the checked queries convert. A text that does not read back is a
//! decoding error, never a default.

use crate::agronomy::{
    amendment::Kind,
    analyte::Analyte,
    element::{Element, Form},
    ground::{Cover, Texture},
    guideline::LandUse,
    liking::{LevelUnit, NutrientForm},
    method::Method,
    record::{Basis, FizzAcid, FizzClass, Qualifier, Unit},
};
use jiff::{Timestamp, civil::Date};
use serde::{Serialize, de::DeserializeOwned};
use sqlx::{
    Decode, Encode, Sqlite, Type, ValueRef,
    encode::IsNull,
    error::BoxDynError,
    sqlite::{SqliteArgumentsBuffer, SqliteTypeInfo, SqliteValueRef},
};
use std::str::FromStr;

macro_rules! through_text {
    ($($(#[$doc:meta])* $name:ident($plain:ty) $format:literal, $maybe:ident);* $(;)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug)]
        pub struct $name(pub $plain);

        impl Type<Sqlite> for $name {
            fn type_info() -> SqliteTypeInfo { <str as Type<Sqlite>>::type_info() }
            fn compatible(info: &SqliteTypeInfo) -> bool { <str as Type<Sqlite>>::compatible(info) }
        }

        impl<'r> Decode<'r, Sqlite> for $name {
            fn decode(value: SqliteValueRef<'r>) -> Result<Self, BoxDynError> {
                Ok($name(<&str as Decode<Sqlite>>::decode(value)?.parse()?))
            }
        }

        impl<'q> Encode<'q, Sqlite> for $name {
            fn encode_by_ref(&self, buffer: &mut SqliteArgumentsBuffer) -> Result<IsNull, BoxDynError> {
                <String as Encode<Sqlite>>::encode(format!($format, self.0), buffer)
            }
        }

        impl From<$name> for $plain {
            fn from(value: $name) -> $plain { value.0 }
        }

        /// The same where the column may be NULL; name it with `!`.
        #[derive(Clone, Copy, Debug)]
        pub struct $maybe(Option<$plain>);

        impl Type<Sqlite> for $maybe {
            fn type_info() -> SqliteTypeInfo { <str as Type<Sqlite>>::type_info() }
            fn compatible(info: &SqliteTypeInfo) -> bool { <str as Type<Sqlite>>::compatible(info) }
        }

        impl<'r> Decode<'r, Sqlite> for $maybe {
            fn decode(value: SqliteValueRef<'r>) -> Result<Self, BoxDynError> {
                if value.is_null() { Ok($maybe(None)) } else { Ok($maybe(Some($name::decode(value)?.0))) }
            }
        }

        impl From<$maybe> for Option<$plain> {
            fn from(value: $maybe) -> Option<$plain> { value.0 }
        }
    )*};
}

through_text! {
    /// A civil date as `YYYY-MM-DD`.
    Day(Date) "{}", MaybeDay;
    /// A moment in UTC, RFC 3339 to the millisecond, so that texts sort as moments do.
    Time(Timestamp) "{:.3}", MaybeTime;
}

/// A keyed word of the trade, stored as its key.
#[derive(Clone, Debug)]
pub struct Text<T>(pub T);

impl<T> Type<Sqlite> for Text<T> {
    fn type_info() -> SqliteTypeInfo {
        <str as Type<Sqlite>>::type_info()
    }

    fn compatible(info: &SqliteTypeInfo) -> bool {
        <str as Type<Sqlite>>::compatible(info)
    }
}

impl<'r, T: FromStr> Decode<'r, Sqlite> for Text<T>
where
    T::Err: Into<BoxDynError>,
{
    fn decode(value: SqliteValueRef<'r>) -> Result<Self, BoxDynError> {
        <&str as Decode<Sqlite>>::decode(value)?.parse().map(Text).map_err(Into::into)
    }
}

macro_rules! words {
    ($($type:ty),* $(,)?) => {$(
        impl From<Text<$type>> for $type {
            fn from(text: Text<$type>) -> $type { text.0 }
        }
    )*};
}

words!(Kind, Analyte, Basis, Cover, Element, FizzAcid, FizzClass, Form, LandUse, Method, Qualifier, Texture, Unit);
words!(LevelUnit, NutrientForm, super::people::Role);

/// Any of the trade's structs as JSON text.
pub(super) fn json(value: &impl Serialize) -> String {
    serde_json::to_value(value).map_or_else(|_| "null".into(), |value| value.to_string())
}

/// The struct of a JSON text; `what` is said where it does not read back.
pub(super) fn from_json<T: DeserializeOwned>(what: &'static str, text: &str) -> super::Result<T> {
    serde_json::from_str(text).map_err(|_| super::Error::Unreadable { what, text: text.to_owned() })
}
