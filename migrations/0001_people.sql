-- People, how they sign in, and the history of everything that is changed.
--
-- Conventions of every table: STRICT; dates are ISO text (YYYY-MM-DD), times ISO text in
-- UTC; masses grams, areas m², depths cm, money minor units with a currency. Nothing is
-- deleted: a row is voided or superseded with who, when and why. `revision` counts the
-- edits of a row, so that two people editing at once find out. A number that is not
-- finite or makes no sense is refused by a CHECK (SQLite turns NaN into NULL, which NOT
-- NULL then refuses).

create table people (
    id            integer primary key,
    name          text not null check (length(trim(name)) between 1 and 200),
    login         text not null collate nocase unique check (length(login) between 1 and 100),
    password_hash text not null check (password_hash like '$argon2id$%'),
    role          text not null check (role in ('reader', 'recorder', 'steward')),
    created_at    text not null,
    disabled_at   text,
    revision      integer not null default 1 check (revision >= 1)
) strict;

-- Only the SHA-256 of a session's token is kept: a copy of the file lets nobody in.
create table sessions (
    token_sha256 blob primary key check (length(token_sha256) = 32),
    person       integer not null references people,
    created_at   text not null,
    seen_at      text not null,
    expires_at   text not null
) strict, without rowid;
create index sessions_person on sessions (person);

-- The one-time link by which the first steward is made; of no use once anybody exists.
create table setup_links (
    token_sha256 blob primary key check (length(token_sha256) = 32),
    created_at   text not null,
    expires_at   text not null
) strict, without rowid;

-- One row per change, written in the same transaction as the change itself.
-- `person` is null where the program acted (first start, import from the command line).
create table changes (
    id        integer primary key,
    at        text not null,
    person    integer references people,
    entity    text not null check (length(entity) > 0),
    entity_id integer not null,
    verb      text not null check (length(verb) > 0),
    summary   text not null check (length(summary) > 0),
    detail    text not null default '{}' check (json_valid(detail))
) strict;
create index changes_entity on changes (entity, entity_id);
create index changes_person on changes (person);
create trigger changes_are_final_1 before update on changes
begin select raise(abort, 'history is never rewritten'); end;
create trigger changes_are_final_2 before delete on changes
begin select raise(abort, 'history is never rewritten'); end;
