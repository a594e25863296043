-- Samplings, the reports that came back for them, and the printed cells.

create table samplings (
    id              integer primary key,
    site            integer not null references sites,
    sampled_on      text not null check (sampled_on is date(sampled_on, '+0 days')),
    date_assumed    integer not null default 0 check (date_assumed in (0, 1)),  -- the day was not written down
    depth_top_cm    real check (depth_top_cm >= 0 and depth_top_cm < 500),
    depth_bottom_cm real check (depth_bottom_cm > depth_top_cm and depth_bottom_cm <= 500),
    cores           integer check (cores between 1 and 10000),
    fizz_acid       text check (fizz_acid in ('hydrochloric_1m', 'vinegar', 'unknown')),
    fizz_class      text check (fizz_class in ('none', 'very_slight', 'slight', 'strong', 'violent')),
    sub_sample      text check (length(sub_sample) > 0),  -- label of a repeat taken on the same plot and day
    sampler         text not null default '',
    note            text not null default '',
    revision        integer not null default 1 check (revision >= 1),
    voided_at       text,
    voided_by       integer references people,
    void_reason     text,
    check ((depth_top_cm is null) = (depth_bottom_cm is null)),
    check ((fizz_acid is null) = (fizz_class is null)),
    check ((voided_at is null) = (void_reason is null))
) strict;
create index samplings_site on samplings (site, sampled_on);
create index samplings_voided_by on samplings (voided_by) where voided_by is not null;

-- A composite sample is taken from several plots; its results count for each of them.
create table sampling_plots (
    sampling integer not null references samplings,
    plot     integer not null references plots,
    primary key (sampling, plot)
) strict, without rowid;
create index sampling_plots_plot on sampling_plots (plot);

create table reports (
    id          integer primary key,
    sampling    integer not null references samplings,
    lab         text not null check (length(trim(lab)) > 0),
    reference   text not null default '',  -- the lab's own number
    reported_on text check (reported_on is date(reported_on, '+0 days')),
    note        text not null default '',
    recorded_at text not null,
    recorded_by integer references people,
    voided_at   text,
    voided_by   integer references people,
    void_reason text,
    check ((voided_at is null) = (void_reason is null))
) strict;
create index reports_sampling on reports (sampling);
create index reports_recorded_by on reports (recorded_by);
create index reports_voided_by on reports (voided_by) where voided_by is not null;

-- One printed result. Final: a correction is a new row that supersedes the old one and
-- says why, so that what a plan once read can always be shown.
create table determinations (
    id                integer primary key,
    report            integer not null references reports,
    position          integer not null check (position >= 0),  -- line of the sheet
    analyte           text not null check (length(analyte) > 0),
    method            text not null check (length(method) > 0),
    printed           text not null,
    qualifier         text not null check (qualifier in ('exact', 'below', 'above', 'not_detected')),
    value             real check (value >= 0 and value < 1e12),
    decimals          integer not null check (decimals between 0 and 12),
    unit              text not null check (length(unit) > 0),
    form              text,   -- the oxide or ion printed, null for the element
    basis             text not null check (basis in ('mass', 'volume')),
    layer             text,   -- slug of the lab's soil-mass convention, for units per area
    supersedes        integer unique references determinations,
    correction_reason text check (length(trim(correction_reason)) > 0),
    corrected_at      text,
    corrected_by      integer references people,
    check ((value is null) = (qualifier = 'not_detected')),
    check ((supersedes is null) = (correction_reason is null)),
    check ((supersedes is null) = (corrected_at is null))
) strict;
create index determinations_report on determinations (report, position);
create index determinations_corrected_by on determinations (corrected_by) where corrected_by is not null;
create trigger determinations_are_final_1 before update on determinations
begin select raise(abort, 'a printed result is never changed: supersede it'); end;
create trigger determinations_are_final_2 before delete on determinations
begin select raise(abort, 'a printed result is never deleted: withdraw it'); end;

-- A printed result that should not be there at all (a line typed twice, another plot's).
create table withdrawals (
    determination integer primary key references determinations,
    at            text not null,
    person        integer references people,
    reason        text not null check (length(trim(reason)) > 0)
) strict;
create index withdrawals_person on withdrawals (person);

-- A person's choice of another reading than the rule's; the newest that is not voided holds.
create table reading_overrules (
    id            integer primary key,
    sampling      integer not null references samplings,
    analyte       text not null check (length(analyte) > 0),
    determination integer not null references determinations,
    reason        text not null check (length(trim(reason)) > 0),
    person        integer references people,
    at            text not null,
    voided_at     text,
    voided_by     integer references people
) strict;
create index reading_overrules_sampling on reading_overrules (sampling, analyte);
create index reading_overrules_determination on reading_overrules (determination);
create index reading_overrules_person on reading_overrules (person);
create index reading_overrules_voided_by on reading_overrules (voided_by) where voided_by is not null;

-- The bytes of files, once each, apart from the names people give them.
create table contents (
    sha256 blob not null primary key check (length(sha256) = 32),
    bytes  blob not null check (length(bytes) between 1 and 10485760)
) strict;

create table attachments (
    id          integer primary key,
    sha256      blob not null references contents,
    report      integer references reports,
    plot        integer references plots,
    name        text not null check (length(trim(name)) between 1 and 255),
    media_type  text not null check (media_type in
                    ('application/pdf', 'image/png', 'image/jpeg', 'text/csv', 'text/plain')),  -- by content, never by name
    size        integer not null check (size > 0),
    attached_at text not null,
    attached_by integer references people,
    voided_at   text,
    voided_by   integer references people,
    void_reason text,
    check ((report is null) <> (plot is null)),
    check ((voided_at is null) = (void_reason is null))
) strict;
create index attachments_sha256 on attachments (sha256);
create index attachments_report on attachments (report) where report is not null;
create index attachments_plot on attachments (plot) where plot is not null;
create index attachments_attached_by on attachments (attached_by);
create index attachments_voided_by on attachments (voided_by) where voided_by is not null;

-- Guidelines that a grower copied and edited. A saved version never changes: plans name it.
create table guidelines (
    id       integer primary key,
    slug     text not null check (length(slug) > 0),
    version  integer not null check (version >= 1),
    name     text not null check (length(trim(name)) > 0),
    based_on text not null default '',
    toml     text not null,
    saved_at text not null,
    saved_by integer references people,
    archived_at text,
    unique (slug, version)
) strict;
create index guidelines_saved_by on guidelines (saved_by);
create trigger guidelines_are_final before update of slug, version, toml on guidelines
begin select raise(abort, 'a saved version of a guideline is never changed: save another'); end;
