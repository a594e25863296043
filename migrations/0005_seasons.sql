-- Seasons, what grew, what was planned and what was really put on.

create table seasons (
    id        integer primary key,
    site      integer not null references sites,
    name      text not null check (length(trim(name)) between 1 and 100),
    starts_on text not null check (starts_on is date(starts_on, '+0 days')),
    ends_on   text not null check (ends_on is date(ends_on, '+0 days') and ends_on >= starts_on),
    revision  integer not null default 1 check (revision >= 1),
    unique (site, name)
) strict;

create table croppings (
    id        integer primary key,
    plot      integer not null references plots,
    season    integer not null references seasons,
    crop      text not null check (length(crop) > 0),  -- crop slug
    sown_on   text check (sown_on is date(sown_on, '+0 days')),
    note      text not null default '',
    voided_at text,
    voided_by integer references people,
    void_reason text,
    check ((voided_at is null) = (void_reason is null))
) strict;
create index croppings_plot on croppings (plot, season);
create index croppings_season on croppings (season);
create index croppings_voided_by on croppings (voided_by) where voided_by is not null;

create table plans (
    id                integer primary key,
    season            integer not null references seasons,
    name              text not null check (length(trim(name)) between 1 and 200),
    state             text not null default 'draft' check (state in ('draft', 'agreed', 'closed')),
    guideline         text not null,
    guideline_version integer not null check (guideline_version >= 0),  -- 0 for a guideline that comes with the program
    options           text not null default '{}' check (json_valid(options)),
    outcome           text not null default '{}' check (json_valid(outcome)),  -- what the solver said: gap, notes, shopping list
    inputs_sha256     blob check (length(inputs_sha256) = 32),  -- fingerprint of what it was solved from
    agreed_at         text,
    agreed_by         integer references people,
    revision          integer not null default 1 check (revision >= 1),
    check ((agreed_at is null) = (state = 'draft'))
) strict;
create index plans_season on plans (season);
create index plans_agreed_by on plans (agreed_by);

create table plan_plots (
    plan integer not null references plans,
    plot integer not null references plots,
    primary key (plan, plot)
) strict, without rowid;
create index plan_plots_plot on plan_plots (plot);

-- The products that a plan may use.
create table plan_products (
    plan      integer not null references plans,
    amendment integer not null references amendments,
    primary key (plan, amendment)
) strict, without rowid;
create index plan_products_amendment on plan_products (amendment);

-- Element to supply, and what caps, packs, budget or choice left undone.
create table plan_needs (
    plan           integer not null references plans,
    plot           integer not null references plots,
    element        text not null check (length(element) between 1 and 2),
    need_kg_per_ha real not null check (need_kg_per_ha >= 0 and need_kg_per_ha < 1e9),
    short_g        real not null default 0 check (short_g >= 0 and short_g < 1e12),
    reason         text not null default '',
    working        text not null default 'null' check (json_valid(working)),
    primary key (plan, plot, element)
) strict, without rowid;
create index plan_needs_plot on plan_needs (plot);

create table doses (
    id        integer primary key,
    plan      integer not null references plans,
    plot      integer not null references plots,
    amendment integer not null references amendments,
    analysis  integer not null,
    mass_g    real not null check (mass_g >= 0 and mass_g <= 1000000000),
    locked    integer not null default 0 check (locked in (0, 1)),
    origin    text not null check (origin in ('solved', 'hand')),
    unique (plan, plot, amendment),
    foreign key (analysis, amendment) references analyses (id, amendment)
) strict;
create index doses_plot on doses (plot);
create index doses_amendment on doses (amendment);
create index doses_analysis on doses (analysis, amendment);

create table applications (
    id          integer primary key,
    site        integer not null references sites,
    plot        integer not null references plots,
    applied_on  text not null check (applied_on is date(applied_on, '+0 days')),
    amendment   integer not null references amendments,
    analysis    integer not null,
    mass_g      real not null check (mass_g > 0 and mass_g <= 1000000000),
    method      text not null default '',  -- how: raked in, watered on, …
    person_name text not null default '',  -- who did it, as written; may be somebody who never signs in
    person      integer references people, -- who did it, where they sign in
    dose        integer references doses,  -- the dose it fulfils, wholly or partly
    note        text not null default '',
    recorded_at text not null,
    recorded_by integer references people,
    voided_at   text,
    voided_by   integer references people,
    void_reason text,
    check ((voided_at is null) = (void_reason is null)),
    foreign key (analysis, amendment) references analyses (id, amendment)
) strict;
create index applications_site on applications (site, applied_on);
create index applications_plot on applications (plot, applied_on);
create index applications_amendment on applications (amendment, applied_on);
create index applications_analysis on applications (analysis, amendment);
create index applications_person on applications (person) where person is not null;
create index applications_dose on applications (dose) where dose is not null;
create index applications_recorded_by on applications (recorded_by);
create index applications_voided_by on applications (voided_by) where voided_by is not null;

-- An agreed plan stays as it was agreed.
create trigger doses_are_agreed_1 before insert on doses
when (select state from plans where id = new.plan) <> 'draft'
begin select raise(abort, 'the plan is agreed: its doses no longer change'); end;
create trigger doses_are_agreed_2 before update on doses
when (select state from plans where id = old.plan) <> 'draft'
begin select raise(abort, 'the plan is agreed: its doses no longer change'); end;
create trigger doses_are_agreed_3 before delete on doses
when (select state from plans where id = old.plan) <> 'draft'
begin select raise(abort, 'the plan is agreed: its doses no longer change'); end;
