-- What a lead reads out over the telephone to allow a departure: the answers in clear. Devices get slow salted hashes of
-- them, in entries; only the address that shows one to a lead reads this table, one at a time. No update and no delete:
-- whether an answer was used, the job file says.

create table voice_answers (
  firm_id uuid not null,
  job_id uuid not null,
  -- The entry that holds the hashes of the batch.
  issue_id uuid not null,
  step text not null,
  slot integer not null constraint voice_answers_slot_range check (slot between 0 and 65535),
  requirement text not null,
  answer text not null constraint voice_answers_form check (answer ~ '^[2-9A-Z]{4}-[2-9A-Z]{4}-[2-9A-Z]{4}$'),
  constraint voice_answers_pkey primary key (firm_id, issue_id, step, slot, requirement),
  constraint voice_answers_job foreign key (firm_id, job_id) references jobs (firm_id, job_id),
  constraint voice_answers_issue foreign key (firm_id, issue_id) references entries (firm_id, entry_id)
);
call protect_tenant_table('voice_answers');
grant select, insert on voice_answers to witnessmark_app;
