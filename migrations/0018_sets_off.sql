-- Sets of nitrate tests and of rules for parts that are not used on a site: their slugs, parted by spaces.
alter table sites add column sets_off text not null default '';
