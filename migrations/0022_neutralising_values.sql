-- A neutralising value may be what the strongest pure materials have: magnesium oxide
-- neutralises 248.3 % of its mass in calcium carbonate (100.09 ÷ 40.304), and sulfur sours by
-- 312.2 % of its own (100.09 ÷ 32.06). Until here both ends stood at 200 %.
--
-- A check cannot be altered, so the table is made anew. Its rows keep their ids; rows of
-- other tables that name them are looked at again when this change is complete.

pragma defer_foreign_keys = on;

create table analyses_before as
select id, amendment, valid_from, label, source, neutralising_value, moisture, recorded_at, recorded_by from analyses;
drop table analyses;

create table analyses (
    id                 integer primary key,
    amendment          integer not null references amendments,
    valid_from         text not null check (valid_from is date(valid_from, '+0 days')),
    label              text not null default '',  -- as printed on the bag
    source             text not null check (json_valid(source)),
    neutralising_value real check (neutralising_value >= -320 and neutralising_value <= 250),  -- % of pure CaCO₃
    moisture           real check (moisture >= 0 and moisture < 1),  -- mass fraction as sold
    recorded_at        text not null,
    recorded_by        integer references people,
    unique (id, amendment)  -- lets a dose prove that its analysis is of its own amendment
) strict;
insert into analyses (id, amendment, valid_from, label, source, neutralising_value, moisture, recorded_at, recorded_by)
select id, amendment, valid_from, label, source, neutralising_value, moisture, recorded_at, recorded_by
from analyses_before order by id;
drop table analyses_before;

create index analyses_amendment on analyses (amendment, valid_from);
create index analyses_recorded_by on analyses (recorded_by);
create trigger analyses_are_final_1 before update on analyses
begin select raise(abort, 'an analysis is never changed: record a new one'); end;
create trigger analyses_are_final_2 before delete on analyses
begin select raise(abort, 'an analysis is never deleted: record a new one'); end;
