-- Figures that somebody looked for in a manufacturer's papers and did not find there: keys, so that the next person need not look again.
alter table models add column not_stated jsonb not null default '[]'
  constraint models_not_stated_list check (jsonb_typeof(not_stated) = 'array');
