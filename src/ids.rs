//! Row identities, one type each, so that a plot's number cannot be passed for a site's.

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize, sqlx::Type)]
        #[serde(transparent)]
        #[sqlx(transparent)]
        pub struct $name(pub i64);

        impl From<i64> for $name {
            fn from(id: i64) -> Self {
                $name(id)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }

        impl std::str::FromStr for $name {
            type Err = std::num::ParseIntError;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                text.parse().map($name)
            }
        }
    )*};
}

ids! {
    /// A garden or farm.
    SiteId,
    /// A named group of plots.
    BlockId,
    /// The smallest piece of ground with a record of its own.
    PlotId,
    /// Taking soil on a date from one or more plots.
    SamplingId,
    /// One lab's sheet.
    ReportId,
    /// One printed result.
    DeterminationId,
    /// A file kept with the record.
    AttachmentId,
    /// A product or material.
    AmendmentId,
    /// A dated composition of an amendment.
    AnalysisId,
    /// What a list said of an amendment.
    ListStatusId,
    /// A priced pack size of an amendment.
    PackId,
    /// A named span of a site's years.
    SeasonId,
    /// A season plan.
    PlanId,
    /// A decision about a cap on one plot in a plan.
    OverruleId,
    /// Grams of one amendment on one plot in a plan.
    DoseId,
    /// The band in which a plan expects the next test.
    ForecastId,
    /// What was really put on.
    ApplicationId,
    /// What left a plot at a harvest.
    HarvestId,
    /// What somebody saw on a plot and wrote down.
    NoteId,
    /// A crop grown on a plot in a season.
    CroppingId,
    /// Somebody who may sign in.
    PersonId,
    /// A guideline of one's own, in all its versions.
    GuidelineId,
}
