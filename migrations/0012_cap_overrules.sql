-- A steward's decision to let something other than the published most go on a plot in one plan.
-- It is printed wherever the cap is, and it is never changed: a new decision takes its place.

create table cap_overrules (
    id           integer primary key,
    plan         integer not null references plans,
    plot         integer not null references plots,
    cap          text not null check (length(cap) > 0),  -- what it counts: total-B, product-7
    label        text not null,  -- of the cap as published, in words
    published_kg_per_ha real not null check (published_kg_per_ha >= 0 and published_kg_per_ha < 1e9),
    kg_per_ha    real not null check (kg_per_ha >= 0 and kg_per_ha < 1e9),
    warned       integer not null check (warned in (0, 1)),  -- a published hazard; the warning was read
    reason       text not null check (length(trim(reason)) between 3 and 1000),
    decided_at   text not null,
    decided_by   integer not null references people,
    withdrawn_at text,
    withdrawn_by integer references people
) strict;
create unique index cap_overrules_one on cap_overrules (plan, plot, cap) where withdrawn_at is null;
create index cap_overrules_plot on cap_overrules (plot);
create index cap_overrules_decided_by on cap_overrules (decided_by);
create index cap_overrules_withdrawn_by on cap_overrules (withdrawn_by) where withdrawn_by is not null;
create trigger cap_overrules_are_final_1
before update of plan, plot, cap, label, published_kg_per_ha, kg_per_ha, warned, reason, decided_at, decided_by on cap_overrules
begin select raise(abort, 'a decision about a cap is never changed: take it back and decide anew'); end;
create trigger cap_overrules_are_final_2 before delete on cap_overrules
begin select raise(abort, 'a decision about a cap is never deleted'); end;
-- An agreed plan stays as it was agreed, and so do the decisions that it rests on.
create trigger cap_overrules_are_agreed_1 before insert on cap_overrules
when (select state from plans where id = new.plan) <> 'draft'
begin select raise(abort, 'the plan is agreed: its caps no longer change'); end;
create trigger cap_overrules_are_agreed_2 before update on cap_overrules
when (select state from plans where id = old.plan) <> 'draft'
begin select raise(abort, 'the plan is agreed: its caps no longer change'); end;
