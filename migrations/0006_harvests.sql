-- What harvests carried away, and what the next test was expected to find when a plan was
-- agreed.

create table harvests (
    id            integer primary key,
    site          integer not null references sites,
    plot          integer not null references plots,
    season        integer references seasons,  -- null: it fell into none that is written down
    crop          text check (length(crop) > 0),  -- crop slug; null says that nothing was carried away
    harvested_on  text not null check (harvested_on is date(harvested_on, '+0 days')),
    fresh_mass_kg real not null check (fresh_mass_kg >= 0 and fresh_mass_kg <= 1000000000),
    figures       text not null default '"tables"' check (json_valid(figures)),  -- which removal figures: the tables, one of them, own ones
    note          text not null default '',
    person_name   text not null default '',  -- who harvested, as written
    recorded_at   text not null,
    recorded_by   integer references people,
    voided_at     text,
    voided_by     integer references people,
    void_reason   text,
    check ((voided_at is null) = (void_reason is null)),
    check ((crop is null) = (fresh_mass_kg = 0))
) strict;
create index harvests_site on harvests (site, harvested_on);
create index harvests_plot on harvests (plot, harvested_on);
create index harvests_season on harvests (season) where season is not null;
create index harvests_recorded_by on harvests (recorded_by);
create index harvests_voided_by on harvests (voided_by) where voided_by is not null;

-- Written when a plan is agreed and never changed, so that the next test can be held
-- against it. A plan that was taken back and agreed again has a newer one, which holds.
-- Levels in the unit named.
create table plan_forecasts (
    id              integer primary key,
    plan            integer not null references plans,
    plot            integer not null references plots,
    analyte         text not null check (length(analyte) > 0),
    method          text not null check (length(method) > 0),
    unit            text not null,
    depth_top_cm    real check (depth_top_cm >= 0 and depth_top_cm < 500),
    depth_bottom_cm real check (depth_bottom_cm > depth_top_cm and depth_bottom_cm <= 500),
    from_test_on    text not null check (from_test_on is date(from_test_on, '+0 days')),  -- the test that it starts from
    expected        real not null check (expected > 0 and expected < 1e12),
    low             real not null check (low > 0),
    high            real not null check (high < 1e12),
    made_on         text not null check (made_on is date(made_on, '+0 days')),
    working         text not null default 'null' check (json_valid(working)),
    check (low <= expected and expected <= high),
    check ((depth_top_cm is null) = (depth_bottom_cm is null))
) strict;
create index plan_forecasts_plan on plan_forecasts (plan, plot, analyte, method, unit);
create index plan_forecasts_plot on plan_forecasts (plot, made_on);
create trigger plan_forecasts_are_final_1 before update on plan_forecasts
begin select raise(abort, 'a forecast is never changed'); end;
create trigger plan_forecasts_are_final_2 before delete on plan_forecasts
begin select raise(abort, 'a forecast is never deleted'); end;
