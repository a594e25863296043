-- Sites, blocks and plots, and what became of plots that were split or merged.

create table sites (
    id          integer primary key,
    name        text not null unique check (length(trim(name)) between 1 and 200),
    currency    text not null check (currency glob '[A-Z][A-Z][A-Z]'),  -- ISO 4217
    invented    integer not null default 0 check (invented in (0, 1)),  -- demonstration data, said on every page
    guideline   text,  -- slug of the guideline that standing is read under; null until chosen
    rate_unit   text not null default 'g_per_m2' check (rate_unit in ('g_per_m2', 'kg_per_ha', 'lb_per_acre')),
    layer       text,  -- slug of a soil-mass convention; null computes with each plot's own layer
    scale_step_g real not null default 1.0 check (scale_step_g > 0 and scale_step_g <= 100000),
    note        text not null default '',
    archived_on text check (archived_on is date(archived_on, '+0 days')),
    revision    integer not null default 1 check (revision >= 1)
) strict;

create table blocks (
    id       integer primary key,
    site     integer not null references sites,
    name     text not null check (length(trim(name)) between 1 and 200),
    position integer not null default 0,
    note     text not null default '',
    revision integer not null default 1 check (revision >= 1),
    unique (site, name),
    unique (id, site)  -- lets a plot prove that its block is of its own site
) strict;

create table plots (
    id           integer primary key,
    site         integer not null references sites,
    block        integer,
    name         text not null check (length(trim(name)) between 1 and 200),
    code         text not null check (length(trim(code)) between 1 and 20),  -- as written on the peg
    area_m2      real not null check (area_m2 > 0 and area_m2 <= 100000000),
    cover        text not null check (cover in ('open', 'tunnel', 'glasshouse')),
    texture      text not null,
    bulk_density real check (bulk_density > 0 and bulk_density < 2.7),  -- g/cm³; null takes the texture's typical value
    depth_cm     real not null check (depth_cm > 0 and depth_cm <= 300),
    stones       real not null default 0 check (stones >= 0 and stones < 1),  -- fraction of the volume
    began_on     text check (began_on is date(began_on, '+0 days')),
    retired_on   text check (retired_on is date(retired_on, '+0 days')),
    position     integer not null default 0,
    note         text not null default '',
    revision     integer not null default 1 check (revision >= 1),
    unique (site, code),
    foreign key (block, site) references blocks (id, site)
) strict;
create index plots_block on plots (block, site);

-- The soil of a child has the parent's past.
create table plot_lineage (
    parent         integer not null references plots,
    child          integer not null references plots,
    took_place_on  text not null check (took_place_on is date(took_place_on, '+0 days')),
    kind           text not null check (kind in ('split', 'merge')),
    primary key (parent, child),
    check (parent <> child)
) strict, without rowid;
create index plot_lineage_child on plot_lineage (child);
