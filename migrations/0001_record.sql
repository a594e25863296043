-- placeholder, replaced before the first landing
create table placeholder (id integer primary key) strict;
