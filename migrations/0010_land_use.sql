-- What a plot is used for while no crop is recorded that tells: published limits differ by it.
alter table plots add column land_use text not null default 'vegetables'
    check (land_use in ('vegetables', 'fruit', 'arable', 'grass'));
