-- What is recorded once stays so: the triggers that four tables still lacked. A decision that was
-- taken back, and a line that was voided, stay taken back and voided.

create trigger cap_overrules_are_final_3 before update of id on cap_overrules
begin select raise(abort, 'a decision about a cap is never changed: take it back and decide anew'); end;
create trigger cap_overrules_are_final_4 before update of withdrawn_at, withdrawn_by on cap_overrules
when old.withdrawn_at is not null
begin select raise(abort, 'a decision that was taken back stays so: decide anew'); end;

create trigger list_statuses_are_final_3 before update of id, recorded_at, recorded_by on list_statuses
begin select raise(abort, 'a list status is never changed: note a new one'); end;
create trigger list_statuses_are_final_4 before update of voided_at, voided_by, void_reason on list_statuses
when old.voided_at is not null
begin select raise(abort, 'a list status that was voided stays so: note a new one'); end;

create trigger list_evidence_is_final_1 before update on list_evidence
begin select raise(abort, 'evidence is never changed'); end;
create trigger list_evidence_is_final_2 before delete on list_evidence
begin select raise(abort, 'evidence is never deleted'); end;

create trigger own_removals_are_final_1
before update of id, site, crop, kg_per_t, source, recorded_at, recorded_by on own_removals
begin select raise(abort, 'an analysis of a crop is never changed: record a new one'); end;
create trigger own_removals_are_final_2 before update of voided_at, voided_by, void_reason on own_removals
when old.voided_at is not null
begin select raise(abort, 'an analysis that was voided stays so: record a new one'); end;
create trigger own_removals_are_final_3 before delete on own_removals
begin select raise(abort, 'an analysis of a crop is never deleted: void it'); end;
