-- How far apart two honest tests of the same soil come out, where a site knows its own
-- sampling and its labs better than the defaults do. A share of the value; for pH in pH units.
create table test_errors (
    id      integer primary key,
    site    integer not null references sites,
    analyte text not null check (length(analyte) > 0),
    lab     text not null default '',  -- as on its sheets; empty: any lab
    what    text not null check (what in ('one_test', 'between_labs')),
    amount  real not null check (amount > 0 and amount <= 10),
    unique (site, analyte, lab, what),
    check (what = 'one_test' or lab = '')
) strict;
