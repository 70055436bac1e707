-- What a device said with a pull: from this place of its chain on it had received the job up to this position. An entry that says to have
-- seen less is marked. Positions count within one server life.
create table received (
  firm_id uuid not null,
  job_id uuid not null,
  device_id uuid not null,
  epoch bytea not null,
  from_seq bigint not null constraint received_seq_from_one check (from_seq >= 1),
  position bigint not null constraint received_position_from_one check (position >= 1),
  constraint received_pkey primary key (firm_id, job_id, device_id, epoch, from_seq),
  constraint received_job foreign key (firm_id, job_id) references jobs (firm_id, job_id),
  constraint received_device foreign key (firm_id, device_id) references devices (firm_id, id)
);
call protect_tenant_table('received');
grant select, insert, update on received to witnessmark_app;
