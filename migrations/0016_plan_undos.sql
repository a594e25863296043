-- What a draft held before its last change, so that the change can be undone: one state to a
-- plan. Undoing puts the present state here, so that undoing can be undone too.
create table plan_undos (
    plan              integer primary key references plans,
    change            text not null check (change in ('doses', 'solved', 'choices', 'undone')),  -- what came after
    revision          integer not null check (revision >= 1),  -- of the state that is kept
    name              text not null,
    guideline         text not null,
    guideline_version integer not null,
    options           text not null check (json_valid(options)),
    outcome           text not null check (json_valid(outcome)),
    inputs_sha256     blob not null check (length(inputs_sha256) = 32),
    plots             text not null check (json_valid(plots)),     -- numbers
    products          text not null check (json_valid(products)),  -- numbers
    needs             text not null check (json_valid(needs)),     -- rows of plan_needs, column by column
    doses             text not null check (json_valid(doses)),     -- rows of doses, column by column
    kept_at           text not null,
    kept_by           integer references people
) strict;
create index plan_undos_kept_by on plan_undos (kept_by);
