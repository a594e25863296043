-- Products and materials, their dated analyses, packs and stock.

create table amendments (
    id                 integer primary key,
    name               text not null unique check (length(trim(name)) between 1 and 200),
    supplier           text not null default '',
    kind               text not null check (length(kind) > 0),  -- slug: what sort of material
    form               text not null check (form in ('solid', 'liquid')),
    solubility_g_per_l real check (solubility_g_per_l > 0 and solubility_g_per_l < 10000),
    rate_max_g_per_m2  real check (rate_max_g_per_m2 > 0 and rate_max_g_per_m2 < 1000000),
    manure             integer not null default 0 check (manure in (0, 1)),  -- counts for limits on manure nitrogen
    organic_status     text not null default '',  -- standing under organic rules, in words
    organic_source     text not null default '',
    organic_checked_on text check (organic_checked_on is date(organic_checked_on, '+0 days')),
    cautions           text not null default '[]' check (json_valid(cautions) and json_type(cautions) = 'array'),
    catalogue          text unique,  -- slug of the catalogue entry it was seeded from
    note               text not null default '',
    archived_on        text check (archived_on is date(archived_on, '+0 days')),
    revision           integer not null default 1 check (revision >= 1)
) strict;

-- The composition in force from a day on. Applications name the analysis they were
-- computed with, so that history stays when a label changes.
create table analyses (
    id                 integer primary key,
    amendment          integer not null references amendments,
    valid_from         text not null check (valid_from is date(valid_from, '+0 days')),
    label              text not null default '',  -- as printed on the bag
    source             text not null check (length(trim(source)) > 0),
    evidence           text not null check (evidence in ('read', 'quoted', 'derived', 'common_practice', 'memory')),
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
    first_year_availability real not null default 1 check (first_year_availability >= 0 and first_year_availability <= 1),
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
