-- What a list of an organic scheme said of a product on a day. The list decides nothing here and
-- the record never says that anything is allowed: the certifier decides. A status is never
-- changed: a newer one takes its place, a mistake is voided.

create table list_statuses (
    id          integer primary key,
    amendment   integer not null references amendments,
    list        text not null check (length(trim(list)) between 1 and 200),
    status      text not null check (status in ('listed', 'conditions', 'not_listed')),
    conditions  text not null default '' check (length(conditions) <= 1000),  -- as printed
    source      text not null check (length(trim(source)) between 1 and 500),  -- the list, a letter, a label
    stated_on   text not null check (stated_on is date(stated_on, '+0 days')),
    recorded_at text not null,
    recorded_by integer references people,
    voided_at   text,
    voided_by   integer references people,
    void_reason text,
    check ((voided_at is null) = (void_reason is null))
) strict;
create index list_statuses_amendment on list_statuses (amendment, list, stated_on);
create index list_statuses_recorded_by on list_statuses (recorded_by);
create index list_statuses_voided_by on list_statuses (voided_by) where voided_by is not null;
create trigger list_statuses_are_final_1
before update of amendment, list, status, conditions, source, stated_on on list_statuses
begin select raise(abort, 'a list status is never changed: note a new one'); end;
create trigger list_statuses_are_final_2 before delete on list_statuses
begin select raise(abort, 'a list status is never deleted: void it'); end;

-- The evidence: the certifier's letter, a page of the list. The bytes are kept with all others.
create table list_evidence (
    list_status integer primary key references list_statuses,
    sha256      blob not null references contents,
    name        text not null check (length(trim(name)) between 1 and 255),
    media_type  text not null check (media_type in
                    ('application/pdf', 'image/png', 'image/jpeg', 'text/csv', 'text/plain')),
    size        integer not null check (size > 0)
) strict;
create index list_evidence_sha256 on list_evidence (sha256);
