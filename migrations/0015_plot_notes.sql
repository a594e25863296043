-- What somebody saw on a plot and wrote down, with the day and, where there is one, a photo or
-- another file. A note is never changed: a mistake is voided, with a reason, and written again.

create table plot_notes (
    id          integer primary key,
    plot        integer not null references plots,
    noted_on    text not null check (noted_on is date(noted_on, '+0 days')),
    text        text not null check (length(trim(text)) between 1 and 2000),
    attachment  integer references attachments,
    recorded_at text not null,
    recorded_by integer references people,
    voided_at   text,
    voided_by   integer references people,
    void_reason text,
    check ((voided_at is null) = (void_reason is null))
) strict;
create index plot_notes_plot on plot_notes (plot, noted_on);
create index plot_notes_attachment on plot_notes (attachment) where attachment is not null;
create index plot_notes_recorded_by on plot_notes (recorded_by);
create index plot_notes_voided_by on plot_notes (voided_by) where voided_by is not null;
create trigger plot_notes_are_final_1
before update of plot, noted_on, text, attachment on plot_notes
begin select raise(abort, 'a note is never changed: void it and write another'); end;
create trigger plot_notes_are_final_2 before delete on plot_notes
begin select raise(abort, 'a note is never deleted: void it'); end;
