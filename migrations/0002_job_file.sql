-- Job files: the log, what is held, photos and their uploads, and the projections that are a cache of the log.

-- One row a job, for its head. It is locked by whoever appends, so positions have no gaps and never go back.
create table jobs (
  firm_id uuid not null constraint jobs_firm references firms,
  job_id uuid not null,
  -- Position of the last entry.
  head bigint not null default 0 constraint jobs_head_sign check (head >= 0),
  -- Position up to which the projections say what the log says.
  projected_head bigint not null default 0,
  created_us bigint not null,
  constraint jobs_pkey primary key (firm_id, job_id),
  constraint jobs_projection_behind check (0 <= projected_head and projected_head <= head)
);
create index jobs_dirty on jobs (firm_id, job_id) where projected_head < head;
call protect_tenant_table('jobs');
grant select, insert, update on jobs to witnessmark_app;

-- The log. The columns repeat what the envelope says, so that it can be searched; numbers of a device's own are cut at
-- the largest bigint, and only the envelope is the truth. No update and no delete: nothing is overwritten.
create table entries (
  firm_id uuid not null,
  job_id uuid not null,
  position bigint not null constraint entries_position_from_one check (position >= 1),
  entry_id uuid not null,
  device_id uuid not null,
  author_id uuid not null,
  seq bigint not null,
  kind bigint not null,
  hlc bigint not null,
  stamp_us bigint not null,
  header_hash bytea not null constraint entries_hash_length check (length(header_hash) = 32),
  envelope bytea not null constraint entries_envelope_length check (length(envelope) <= 65536),
  constraint entries_pkey primary key (firm_id, entry_id),
  constraint entries_position_once unique (firm_id, job_id, position),
  constraint entries_job foreign key (firm_id, job_id) references jobs (firm_id, job_id),
  constraint entries_device foreign key (firm_id, device_id) references devices (firm_id, id)
);
create index entries_by_author on entries (firm_id, author_id, job_id);
call protect_tenant_table('entries');
grant select, insert on entries to witnessmark_app;

-- What a person must look at: the bytes as they came, once, with the first reason.
create table held_entries (
  firm_id uuid not null constraint held_entries_firm references firms,
  sha256 bytea not null constraint held_entries_hash_length check (length(sha256) = 32),
  entry_id uuid not null,
  job_id uuid not null,
  kind bigint not null,
  author_id uuid not null,
  device_id uuid not null,
  envelope bytea not null constraint held_entries_envelope_length check (length(envelope) <= 65536),
  why text not null
    constraint held_entries_why_known check (why in ('same_id_other_bytes', 'author_not_you', 'device_not_yours',
      'role_may_not', 'device_revoked', 'no_such_job', 'body_unreadable')),
  by_person uuid not null,
  by_device uuid not null,
  held_us bigint not null,
  -- The same bytes went into the log after all.
  stored_us bigint,
  constraint held_entries_pkey primary key (firm_id, sha256)
);
create index held_entries_open on held_entries (firm_id, held_us) where stored_us is null;
create index held_entries_waiting_for_job on held_entries (firm_id, job_id) where stored_us is null and why = 'no_such_job';
call protect_tenant_table('held_entries');
grant select, insert, update on held_entries to witnessmark_app;

-- Files that entries name, written with the entry. Nothing of a photo is reachable but through a row of this.
create table photo_names (
  firm_id uuid not null,
  job_id uuid not null,
  sha256 bytea not null constraint photo_names_hash_length check (length(sha256) = 32),
  entry_id uuid not null,
  role text not null constraint photo_names_role_known check (role in ('original', 'preview')),
  bytes bigint not null,
  constraint photo_names_pkey primary key (firm_id, job_id, sha256, entry_id, role),
  constraint photo_names_entry foreign key (firm_id, entry_id) references entries (firm_id, entry_id)
);
create index photo_names_by_hash on photo_names (firm_id, sha256);
call protect_tenant_table('photo_names');
grant select, insert on photo_names to witnessmark_app;

-- Bytes that are in the store under `firm/sha256`, verified.
create table photos (
  firm_id uuid not null constraint photos_firm references firms,
  sha256 bytea not null constraint photos_hash_length check (length(sha256) = 32),
  bytes bigint not null constraint photos_bytes_sign check (bytes > 0),
  media text not null constraint photos_media_known check (media in ('jpeg', 'png', 'webp', 'heif', 'other')),
  stored_us bigint not null,
  constraint photos_pkey primary key (firm_id, sha256)
);
call protect_tenant_table('photos');
grant select, insert on photos to witnessmark_app;

-- For which job they came. A photo may come before the entry that names it, and before its job: no key to either.
create table photo_arrivals (
  firm_id uuid not null,
  job_id uuid not null,
  sha256 bytea not null,
  arrived_us bigint not null,
  by_person uuid not null,
  constraint photo_arrivals_pkey primary key (firm_id, job_id, sha256),
  constraint photo_arrivals_photo foreign key (firm_id, sha256) references photos (firm_id, sha256)
);
call protect_tenant_table('photo_arrivals');
grant select, insert on photo_arrivals to witnessmark_app;

-- Uploads under way (tus). The row is offset and lock, so that any server process can go on with it.
create table uploads (
  firm_id uuid not null constraint uploads_firm references firms,
  id uuid not null,
  job_id uuid not null,
  person_id uuid not null,
  sha256 bytea not null constraint uploads_hash_length check (length(sha256) = 32),
  length bigint not null constraint uploads_length_sign check (length > 0),
  received bigint not null default 0,
  -- Names of the part objects in order; a part that is not in here does not count.
  parts uuid[] not null default '{}',
  locked_by uuid,
  locked_us bigint,
  created_us bigint not null,
  expires_us bigint not null,
  constraint uploads_pkey primary key (firm_id, id),
  constraint uploads_received_within check (0 <= received and received <= length),
  constraint uploads_person foreign key (firm_id, person_id) references people (firm_id, id)
);
create index uploads_by_photo on uploads (firm_id, person_id, job_id, sha256);
create index uploads_by_expiry on uploads (firm_id, expires_us);
call protect_tenant_table('uploads');
grant select, insert, update, delete on uploads to witnessmark_app;

-- Projections: what the fold says, for lists. `reproject` empties and rebuilds them.
create table job_rows (
  firm_id uuid not null,
  job_id uuid not null,
  state text not null
    constraint job_rows_state_known check (state in ('planned', 'with_crew', 'on_site', 'paused', 'for_review', 'returned',
      'passed', 'withdrawn')),
  left_as text,
  -- False: the job pins a method that this server does not have, so no step could be judged.
  method_known boolean not null,
  purpose text,
  site_id uuid,
  method_id text,
  method_version bigint,
  method_hash bytea,
  rule_set text,
  householder text not null,
  street text not null,
  town text not null,
  zone text not null,
  day text not null,
  start text not null,
  crew uuid[] not null,
  steps_done integer not null,
  steps_total integer not null,
  holds_done integer not null,
  holds_total integer not null,
  entries bigint not null,
  breaches integer not null,
  breaches_settled integer not null,
  findings integer not null,
  stops_open integer not null,
  deviations_open integer not null,
  late integer not null,
  updated_us bigint not null,
  constraint job_rows_pkey primary key (firm_id, job_id),
  constraint job_rows_job foreign key (firm_id, job_id) references jobs (firm_id, job_id)
);
create index job_rows_by_day on job_rows (firm_id, day desc, job_id desc);
create index job_rows_by_crew on job_rows using gin (crew);
call protect_tenant_table('job_rows');
grant select, insert, update, delete on job_rows to witnessmark_app;

-- The serial ledger: every serial that was ever recorded, also those that were replaced since.
create table unit_rows (
  firm_id uuid not null,
  job_id uuid not null,
  entry_id uuid not null,
  slot integer not null,
  kind text,
  maker text not null,
  model text not null,
  gtin text,
  stored text not null,
  match_key text not null,
  skeleton text not null,
  lot text,
  -- counts: stands in the slot. replaced: corrected, taken back, or to be done again. breach, late: does not count, but
  -- the unit may well hang on that wall, so a recall must find it.
  standing text not null constraint unit_rows_standing_known check (standing in ('counts', 'replaced', 'breach', 'late')),
  read_us bigint not null,
  constraint unit_rows_pkey primary key (firm_id, job_id, entry_id),
  constraint unit_rows_job foreign key (firm_id, job_id) references jobs (firm_id, job_id)
);
create index unit_rows_by_match on unit_rows (firm_id, match_key text_pattern_ops);
create index unit_rows_by_skeleton on unit_rows (firm_id, skeleton text_pattern_ops);
create index unit_rows_by_lot on unit_rows (firm_id, lot) where lot is not null;
call protect_tenant_table('unit_rows');
grant select, insert, update, delete on unit_rows to witnessmark_app;
