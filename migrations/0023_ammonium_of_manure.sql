-- Of the nitrogen in a product what is ammonium, counted as N: only the rest goes through the decay
-- of organic nitrogen. Null where nobody analysed it.

alter table analyses add column ammonium_n real check (ammonium_n >= 0 and ammonium_n <= 1);  -- mass fraction as sold
