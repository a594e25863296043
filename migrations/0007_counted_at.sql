-- When a count of the shed was written down: what is put on later that day comes off it.
-- Not known of earlier counts.
alter table stock_counts add column counted_at text;
