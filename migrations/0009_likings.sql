-- The unit and the form in which each person likes to read soil levels and needs; nothing
-- that is recorded or worked out depends on it.
alter table people add column level_unit text not null default 'mg_per_kg'
    check (level_unit in ('as_printed', 'mg_per_kg', 'kg_per_ha', 'lb_per_acre', 'grams_on_plot'));
alter table people add column nutrient_form text not null default 'element'
    check (nutrient_form in ('element', 'oxide'));
