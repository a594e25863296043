-- Products and materials, their dated analyses, packs and stock.
--
-- Citations (publisher, title, year, address, evidence) are kept as JSON beside the
-- figure that they stand for.

create table amendments (
    id                  integer primary key,
    name                text not null unique check (length(trim(name)) between 1 and 200),
    supplier            text not null default '',
    kind                text not null check (length(kind) > 0),
    form                text not null default 'solid' check (form in ('solid', 'liquid')),
    about               text not null default '',
    formula             text,  -- of the pure compound, where it is one
    solubility_g_per_l  real check (solubility_g_per_l > 0 and solubility_g_per_l < 10000),  -- in cold water
    solubility_source   text check (json_valid(solubility_source)),
    rate_max_kg_per_ha  real check (rate_max_kg_per_ha > 0 and rate_max_kg_per_ha < 10000000),  -- of the product
    rate_max_per        text,  -- 'at once', 'a year'
    rate_max_source     text check (json_valid(rate_max_source)),
    manure              integer not null default 0 check (manure in (0, 1)),  -- counts for limits on manure nitrogen
    list_status         text not null default '[]' check (json_valid(list_status)),  -- standing under organic rules, cited
    also_printed        text not null default '[]' check (json_valid(also_printed)),  -- grades of other publishers, cited
    cautions            text not null default '[]' check (json_valid(cautions)),
    catalogue           text unique,  -- key of the catalogue's entry that it was made from
    note                text not null default '',
    archived_on         text check (archived_on is date(archived_on, '+0 days')),
    revision            integer not null default 1 check (revision >= 1),
    check ((solubility_g_per_l is null) = (solubility_source is null)),
    check ((rate_max_kg_per_ha is null) = (rate_max_source is null)),
    check ((rate_max_kg_per_ha is null) = (rate_max_per is null))
) strict;

-- The composition in force from a day on. Applications name the analysis they were
-- computed with, so that history stays when a label changes.
create table analyses (
    id                 integer primary key,
    amendment          integer not null references amendments,
    valid_from         text not null check (valid_from is date(valid_from, '+0 days')),
    label              text not null default '',  -- as printed on the bag
    source             text not null check (json_valid(source)),
    neutralising_value real check (neutralising_value >= -200 and neutralising_value <= 200),  -- % of pure CaCO₃
    moisture           real check (moisture >= 0 and moisture < 1),  -- mass fraction as sold
    recorded_at        text not null,
    recorded_by        integer references people,
    unique (id, amendment)  -- lets a dose prove that its analysis is of its own amendment
) strict;
create index analyses_amendment on analyses (amendment, valid_from);
create index analyses_recorded_by on analyses (recorded_by);
create trigger analyses_are_final_1 before update on analyses
begin select raise(abort, 'an analysis is never changed: record a new one'); end;
create trigger analyses_are_final_2 before delete on analyses
begin select raise(abort, 'an analysis is never deleted: record a new one'); end;

create table analysis_parts (
    analysis                integer not null references analyses,
    element                 text not null check (length(element) between 1 and 2),
    mass_fraction           real not null check (mass_fraction >= 0 and mass_fraction <= 1),  -- of the product as sold, as element
    first_year_availability real not null check (first_year_availability >= 0 and first_year_availability <= 1),
    printed                 text not null default '',  -- as printed, or how it was worked out
    pure                    real check (pure >= 0 and pure <= 1),  -- content of the pure compound
    source                  text not null check (json_valid(source)),
    availability_source     text check (json_valid(availability_source)),
    primary key (analysis, element)
) strict, without rowid;
create trigger analysis_parts_are_final_1 before update on analysis_parts
begin select raise(abort, 'an analysis is never changed: record a new one'); end;
create trigger analysis_parts_are_final_2 before delete on analysis_parts
begin select raise(abort, 'an analysis is never deleted: record a new one'); end;

create table packs (
    id          integer primary key,
    amendment   integer not null references amendments,
    mass_g      real not null check (mass_g > 0 and mass_g <= 100000000),
    price_minor integer check (price_minor >= 0),
    currency    text check (currency glob '[A-Z][A-Z][A-Z]'),
    supplier    text not null default '',
    valid_from  text not null check (valid_from is date(valid_from, '+0 days')),
    archived_on text check (archived_on is date(archived_on, '+0 days')),
    check ((price_minor is null) = (currency is null))
) strict;
create index packs_amendment on packs (amendment);

-- What was found in the shed on a day; the newest count is the stock, less what was put on since.
create table stock_counts (
    id         integer primary key,
    amendment  integer not null references amendments,
    counted_on text not null check (counted_on is date(counted_on, '+0 days')),
    mass_g     real not null check (mass_g >= 0 and mass_g <= 1000000000)
) strict;
create index stock_counts_amendment on stock_counts (amendment, counted_on);
