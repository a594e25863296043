-- The valid numbers of each report in one row, for reviews of thousands of plots over decades:
-- two million results are read as a hundred thousand short texts. A copy, kept by triggers in
-- the transaction that records a result; determinations and withdrawals remain the record.

-- What results are besides their number, each kind once; '' where there is none.
create table result_kinds (
    id        integer primary key,
    analyte   text not null,
    method    text not null,
    unit      text not null,
    qualifier text not null,
    decimals  integer not null,
    form      text not null,
    basis     text not null,
    layer     text not null,
    unique (analyte, method, unit, qualifier, decimals, form, basis, layer)
) strict;

-- Kind and value of each result that holds, in the order of the record: "3 6.4 7 120.0".
create table sheet_numbers (
    report  integer primary key references reports,
    numbers text not null
) strict;

insert into result_kinds (analyte, method, unit, qualifier, decimals, form, basis, layer)
select distinct analyte, method, unit, qualifier, decimals, coalesce(form, ''), basis, coalesce(layer, '')
from determinations where value is not null;

insert into sheet_numbers (report, numbers)
select d.report, group_concat(k.id || ' ' || d.value, ' ' order by d.id)
from determinations d
     join result_kinds k on (k.analyte, k.method, k.unit, k.qualifier, k.decimals, k.form, k.basis, k.layer)
                          = (d.analyte, d.method, d.unit, d.qualifier, d.decimals, coalesce(d.form, ''), d.basis, coalesce(d.layer, ''))
where d.value is not null
  and not exists (select 1 from determinations n where n.supersedes = d.id)
  and not exists (select 1 from withdrawals w where w.determination = d.id)
group by d.report;

create trigger determinations_into_numbers_1 after insert on determinations
when new.value is not null and new.supersedes is null
begin
    insert into result_kinds (analyte, method, unit, qualifier, decimals, form, basis, layer)
    select new.analyte, new.method, new.unit, new.qualifier, new.decimals, coalesce(new.form, ''), new.basis, coalesce(new.layer, '')
    where not exists (select 1 from result_kinds
                      where (analyte, method, unit, qualifier, decimals, form, basis, layer)
                          = (new.analyte, new.method, new.unit, new.qualifier, new.decimals, coalesce(new.form, ''), new.basis, coalesce(new.layer, '')));
    insert into sheet_numbers (report, numbers)
    select new.report, id || ' ' || new.value from result_kinds
    where (analyte, method, unit, qualifier, decimals, form, basis, layer)
        = (new.analyte, new.method, new.unit, new.qualifier, new.decimals, coalesce(new.form, ''), new.basis, coalesce(new.layer, ''))
    on conflict (report) do update set numbers = numbers || ' ' || excluded.numbers;
end;

create trigger determinations_into_numbers_2 after insert on determinations
when new.supersedes is not null
begin
    insert into result_kinds (analyte, method, unit, qualifier, decimals, form, basis, layer)
    select new.analyte, new.method, new.unit, new.qualifier, new.decimals, coalesce(new.form, ''), new.basis, coalesce(new.layer, '')
    where new.value is not null
      and not exists (select 1 from result_kinds
                      where (analyte, method, unit, qualifier, decimals, form, basis, layer)
                          = (new.analyte, new.method, new.unit, new.qualifier, new.decimals, coalesce(new.form, ''), new.basis, coalesce(new.layer, '')));
    delete from sheet_numbers
    where report in (new.report, (select report from determinations where id = new.supersedes));
    insert into sheet_numbers (report, numbers)
    select d.report, group_concat(k.id || ' ' || d.value, ' ' order by d.id)
    from determinations d
         join result_kinds k on (k.analyte, k.method, k.unit, k.qualifier, k.decimals, k.form, k.basis, k.layer)
                              = (d.analyte, d.method, d.unit, d.qualifier, d.decimals, coalesce(d.form, ''), d.basis, coalesce(d.layer, ''))
    where d.report in (new.report, (select report from determinations where id = new.supersedes)) and d.value is not null
      and not exists (select 1 from determinations n where n.supersedes = d.id)
      and not exists (select 1 from withdrawals w where w.determination = d.id)
    group by d.report;
end;

create trigger withdrawals_into_numbers after insert on withdrawals
begin
    delete from sheet_numbers where report = (select report from determinations where id = new.determination);
    insert into sheet_numbers (report, numbers)
    select d.report, group_concat(k.id || ' ' || d.value, ' ' order by d.id)
    from determinations d
         join result_kinds k on (k.analyte, k.method, k.unit, k.qualifier, k.decimals, k.form, k.basis, k.layer)
                              = (d.analyte, d.method, d.unit, d.qualifier, d.decimals, coalesce(d.form, ''), d.basis, coalesce(d.layer, ''))
    where d.report = (select report from determinations where id = new.determination) and d.value is not null
      and not exists (select 1 from determinations n where n.supersedes = d.id)
      and not exists (select 1 from withdrawals w where w.determination = d.id)
    group by d.report;
end;
