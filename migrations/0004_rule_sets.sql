-- A firm's own rule sets: a built-in one with changes on top. Jobs and verdicts name a version for ever, so every version
-- stays and there is no update on purpose.
create table rule_sets (
  firm_id uuid not null constraint rule_sets_firm references firms,
  place text not null constraint rule_sets_place_known check (place in ('us', 'uk', 'au', 'nz', 'de', 'neutral')),
  version integer not null constraint rule_sets_version_from_one check (version >= 1),
  -- Of the built-in set beneath.
  base_version integer not null constraint rule_sets_base_from_one check (base_version >= 1),
  -- [{rule, micro, reason}]
  changes jsonb not null constraint rule_sets_changes_list check (jsonb_typeof(changes) = 'array'),
  made_by uuid not null,
  made_us bigint not null,
  constraint rule_sets_pkey primary key (firm_id, place, version),
  constraint rule_sets_person foreign key (firm_id, made_by) references people (firm_id, id)
);
call protect_tenant_table('rule_sets');
grant select, insert on rule_sets to witnessmark_app;
