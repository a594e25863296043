-- What a site knows of the years for itself: what its crops carry away, and what being wrong
-- about a shortage costs.

-- A grower's own analysis of a crop. A newer one voids the older; ledgers go by the one in force.
create table own_removals (
    id          integer primary key,
    site        integer not null references sites,
    crop        text not null check (length(crop) > 0),  -- crop slug
    kg_per_t    text not null check (json_valid(kg_per_t)),  -- by symbol of the element, kg in a tonne fresh
    source      text not null check (length(trim(source)) > 0),  -- in the grower's words
    recorded_at text not null,
    recorded_by integer references people,
    voided_at   text,
    voided_by   integer references people,
    void_reason text,
    check ((voided_at is null) = (void_reason is null))
) strict;
create unique index own_removals_in_force on own_removals (site, crop) where voided_at is null;
create index own_removals_site on own_removals (site, crop);
create index own_removals_recorded_by on own_removals (recorded_by);
create index own_removals_voided_by on own_removals (voided_by) where voided_by is not null;

-- In minor units of the site's currency.
create table site_stakes (
    site              integer primary key references sites,
    sheet_minor       integer not null check (sheet_minor > 0),  -- one more sample with its sheet
    needless_per_100_m2_minor integer not null check (needless_per_100_m2_minor > 0),  -- lost by feeding what was not short
    missed_per_100_m2_minor   integer not null check (missed_per_100_m2_minor > 0),  -- lost by leaving it short
    revision          integer not null default 1 check (revision >= 1)
) strict;
