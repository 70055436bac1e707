-- Firms, people, devices, sessions and reference data. Job files, photos and desks have migrations of their own.
--
-- Habits of every migration here:
-- * times are bigint microseconds since 1970 UTC, days are text YYYY-MM-DD (empty: not known or without end);
-- * every constraint has a name, so that the server can turn it into an answer;
-- * a table that belongs to a firm has `firm_id` first in its key and ends with `call protect_tenant_table('name')`;
-- * what the server may do with a table is granted in the migration that makes it, no more than it needs.

-- The role that the server works as. Its login and password are set by the server's start, through the owner: a
-- password has no place in a committed file. Roles belong to the whole cluster, so two databases may race here.
do $$
begin
  if not exists (select from pg_roles where rolname = 'witnessmark_app') then
    create role witnessmark_app nologin nosuperuser nocreatedb nocreaterole noinherit nobypassrls;
  end if;
exception
  when duplicate_object or unique_violation then null;
end
$$;

grant usage on schema public to witnessmark_app;

-- Rows of a firm are seen and written only while `app.firm` names it. FORCE binds the owner too; so that migrations
-- and the few door functions below work on a managed Postgres whose owner has no BYPASSRLS, the owner gets a policy
-- of its own. `current_user` is resolved when the policy is made: it is the migrating role, never the server's.
create procedure protect_tenant_table(name text)
language plpgsql as $$
begin
  execute format('alter table %I enable row level security', name);
  execute format('alter table %I force row level security', name);
  execute format(
    'create policy %I on %I using (firm_id = nullif(current_setting(''app.firm'', true), '''')::uuid)
       with check (firm_id = nullif(current_setting(''app.firm'', true), '''')::uuid)',
    name || '_of_firm', name);
  execute format('create policy %I on %I to current_user using (true) with check (true)', name || '_owner', name);
end
$$;
revoke execute on procedure protect_tenant_table(text) from public;

-- One server life. A restored backup must begin a new one (`xtask epoch`, or: delete from server_epoch): devices then
-- offer again what the backup lacks.
create table server_epoch (
  one boolean constraint server_epoch_pkey primary key default true constraint server_epoch_single check (one),
  epoch bytea not null constraint server_epoch_length check (length(epoch) = 16)
);
-- gen_random_uuid is the strong randomness of a bare Postgres; of its 128 bits 122 are random.
insert into server_epoch (epoch) values (decode(replace(gen_random_uuid()::text, '-', ''), 'hex'));
grant select, insert on server_epoch to witnessmark_app;

create table firms (
  firm_id uuid constraint firms_pkey primary key,
  name text not null constraint firms_name_length check (char_length(name) <= 120),
  -- Owners see when somebody was last here only once an owner turned it on.
  shows_last_seen boolean not null default false,
  created_us bigint not null
);
call protect_tenant_table('firms');
grant select, insert, update on firms to witnessmark_app;

create table firm_clock (
  firm_id uuid constraint firm_clock_pkey primary key constraint firm_clock_firm references firms,
  last_stamp_us bigint not null default 0
);
call protect_tenant_table('firm_clock');
grant select, insert, update on firm_clock to witnessmark_app;

create table reference_version (
  firm_id uuid constraint reference_version_pkey primary key constraint reference_version_firm references firms,
  version bigint not null default 1
);
call protect_tenant_table('reference_version');
grant select, insert, update on reference_version to witnessmark_app;

create table people (
  firm_id uuid not null constraint people_firm references firms,
  id uuid not null,
  email text not null
    constraint people_email_form check (email = lower(email) and email like '%_@_%' and char_length(email) <= 254),
  display_name text not null constraint people_name_length check (char_length(display_name) between 1 and 120),
  roles text[] not null
    constraint people_roles_known check (roles <@ array['owner', 'lead', 'technician', 'office'] and cardinality(roles) > 0),
  language text not null default 'en' constraint people_language_known check (language in ('en', 'de', 'es')),
  decimal_mark text not null default '.' constraint people_decimal_known check (decimal_mark in ('.', ',')),
  active boolean not null default true,
  password_hash text,
  tickets jsonb not null default '[]' constraint people_tickets_list check (jsonb_typeof(tickets) = 'array'),
  created_us bigint not null,
  last_seen_us bigint,
  constraint people_pkey primary key (firm_id, id)
);
-- One sign-in name, one person: whoever signs in says no firm.
create unique index people_email_once on people (email);
create unique index people_id_once on people (id);
call protect_tenant_table('people');
grant select, insert, update on people to witnessmark_app;

-- The device without a person is the server's own: findings are its entries.
create table devices (
  firm_id uuid not null constraint devices_firm references firms,
  id uuid not null,
  person_id uuid,
  label text not null constraint devices_label_length check (char_length(label) <= 120),
  created_us bigint not null,
  last_contact_us bigint,
  waiting integer not null default 0 constraint devices_waiting_sign check (waiting >= 0),
  app_build text,
  revoked_us bigint,
  constraint devices_pkey primary key (firm_id, id),
  constraint devices_person foreign key (firm_id, person_id) references people (firm_id, id)
);
create unique index devices_id_once on devices (id);
create unique index devices_one_server on devices (firm_id) where person_id is null;
create index devices_by_person on devices (firm_id, person_id);
call protect_tenant_table('devices');
grant select, insert, update on devices to witnessmark_app;

-- A family is one sign-in; each refresh makes the next token of the family. Only SHA-256 of a token is kept.
create table refresh_tokens (
  firm_id uuid not null constraint refresh_tokens_firm references firms,
  id uuid not null,
  family uuid not null,
  hash bytea not null constraint refresh_tokens_hash_length check (length(hash) = 32),
  person_id uuid not null,
  device_id uuid not null,
  successor uuid,
  -- Counts the successors that were made: a late repeat gets another one than the first.
  successors integer not null default 0,
  created_us bigint not null,
  expires_us bigint not null,
  used_us bigint,
  superseded_us bigint,
  revoked_us bigint,
  constraint refresh_tokens_pkey primary key (firm_id, id),
  constraint refresh_tokens_person foreign key (firm_id, person_id) references people (firm_id, id),
  constraint refresh_tokens_device foreign key (firm_id, device_id) references devices (firm_id, id),
  constraint refresh_tokens_successor foreign key (firm_id, successor) references refresh_tokens (firm_id, id)
    on delete set null (successor)
);
create unique index refresh_tokens_hash_once on refresh_tokens (hash);
create index refresh_tokens_by_family on refresh_tokens (firm_id, family);
create index refresh_tokens_by_person on refresh_tokens (firm_id, person_id);
create index refresh_tokens_by_expiry on refresh_tokens (firm_id, expires_us);
call protect_tenant_table('refresh_tokens');
grant select, insert, update, delete on refresh_tokens to witnessmark_app;

-- One-time links: first owner of a firm, invitation, password reset. Only SHA-256 of the token is kept.
create table links (
  firm_id uuid not null constraint links_firm references firms,
  id uuid not null,
  hash bytea not null constraint links_hash_length check (length(hash) = 32),
  purpose text not null constraint links_purpose_known check (purpose in ('first_owner', 'invitation', 'reset')),
  person_id uuid,
  created_us bigint not null,
  expires_us bigint not null,
  used_us bigint,
  constraint links_pkey primary key (firm_id, id),
  constraint links_person foreign key (firm_id, person_id) references people (firm_id, id),
  constraint links_person_unless_first check ((purpose = 'first_owner') = (person_id is null))
);
create unique index links_hash_once on links (hash);
create index links_by_person on links (firm_id, person_id);
call protect_tenant_table('links');
grant select, insert, update on links to witnessmark_app;

create table instruments (
  firm_id uuid not null constraint instruments_firm references firms,
  id uuid not null,
  kind text not null constraint instruments_kind_length check (char_length(kind) between 1 and 60),
  label text not null constraint instruments_label_length check (char_length(label) between 1 and 120),
  serial text not null constraint instruments_serial_length check (char_length(serial) <= 60),
  calibration_due text not null
    constraint instruments_due_is_day check (calibration_due ~ '^([0-9]{4}-[0-9]{2}-[0-9]{2})?$'),
  retired boolean not null default false,
  changed_us bigint not null,
  constraint instruments_pkey primary key (firm_id, id)
);
call protect_tenant_table('instruments');
grant select, insert, update on instruments to witnessmark_app;

-- Every version stays: a job pins one. There is no update on purpose.
create table models (
  firm_id uuid not null constraint models_firm references firms,
  id uuid not null,
  version integer not null constraint models_version_from_one check (version >= 1),
  kind text not null
    constraint models_kind_known check (kind in ('module', 'control_unit', 'inverter', 'changeover', 'meter', 'gateway')),
  maker text not null constraint models_maker_length check (char_length(maker) between 1 and 120),
  name text not null constraint models_name_length check (char_length(name) between 1 and 120),
  gtin text constraint models_gtin_form check (gtin ~ '^[0-9]{14}$'),
  serial_prefix text not null constraint models_prefix_length check (char_length(serial_prefix) <= 30),
  serial_least integer not null,
  serial_most integer not null,
  constraint models_serial_length check (0 <= serial_least and serial_least <= serial_most and serial_most <= 60),
  -- {key: millionths of the unit that the key names}
  figures jsonb not null constraint models_figures_map check (jsonb_typeof(figures) = 'object'),
  retired boolean not null default false,
  changed_us bigint not null,
  constraint models_pkey primary key (firm_id, id, version)
);
call protect_tenant_table('models');
grant select, insert on models to witnessmark_app;

-- Methods belong to no firm: they come with the server. A published version never changes, so there is no update.
create table methods (
  id text not null,
  version integer not null constraint methods_version_from_one check (version >= 1),
  hash bytea not null constraint methods_hash_length check (length(hash) = 32),
  cbor bytea not null,
  published_us bigint not null,
  constraint methods_pkey primary key (id, version)
);
grant select, insert on methods to witnessmark_app;

-- Doors: the questions that must be asked before the firm is known. Each answers with a firm's id or with yes and no;
-- everything after that goes through row-level security like any other query. The search path is fixed so that no
-- temporary table or function of the caller's can stand in for ours.
create function firm_of_email(sought text) returns uuid
language sql stable security definer set search_path = pg_catalog, public, pg_temp as
$$ select firm_id from public.people where email = sought $$;

create function firm_of_refresh_token(sought bytea) returns uuid
language sql stable security definer set search_path = pg_catalog, public, pg_temp as
$$ select firm_id from public.refresh_tokens where hash = sought $$;

create function firm_of_link(sought bytea) returns uuid
language sql stable security definer set search_path = pg_catalog, public, pg_temp as
$$ select firm_id from public.links where hash = sought $$;

-- Has anybody who may own a firm ever set a password here?
create function owner_exists() returns boolean
language sql stable security definer set search_path = pg_catalog, public, pg_temp as
$$ select exists (select from public.people where 'owner' = any (roles) and password_hash is not null) $$;

-- A firm that was opened for its first owner's link, while nobody has followed the link yet.
create function firm_without_people() returns uuid
language sql stable security definer set search_path = pg_catalog, public, pg_temp as
$$ select f.firm_id from public.firms f
   where not exists (select from public.people p where p.firm_id = f.firm_id)
   order by f.created_us, f.firm_id limit 1 $$;

-- Background work that goes firm by firm.
create function firm_ids() returns setof uuid
language sql stable security definer set search_path = pg_catalog, public, pg_temp as
$$ select firm_id from public.firms order by firm_id $$;

-- A new method is news for every firm.
create function reference_changed_everywhere() returns void
language sql security definer set search_path = pg_catalog, public, pg_temp as
$$ update public.reference_version set version = version + 1 $$;

revoke execute on function firm_of_email(text), firm_of_refresh_token(bytea), firm_of_link(bytea), owner_exists(),
  firm_without_people(), firm_ids(), reference_changed_everywhere() from public;
grant execute on function firm_of_email(text), firm_of_refresh_token(bytea), firm_of_link(bytea), owner_exists(),
  firm_without_people(), firm_ids(), reference_changed_everywhere() to witnessmark_app;
