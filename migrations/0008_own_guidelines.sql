-- A saved version of a guideline stands as a whole, and no version is ever taken away: only
-- whether it is offered may change.
create trigger guidelines_are_final_2 before update of id, name, based_on, saved_at, saved_by on guidelines
begin select raise(abort, 'a saved version of a guideline is never changed: save another'); end;
create trigger guidelines_are_final_3 before delete on guidelines
begin select raise(abort, 'a saved version of a guideline is never deleted: archive it'); end;
