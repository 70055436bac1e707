-- How far this database is migrated, for the server's role, which owns nothing. Null: by another hand than the server's.
create function migrated_to() returns bigint
language plpgsql stable security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  if to_regclass('public._sqlx_migrations') is null then
    return null;
  end if;
  return (select max(version) from public._sqlx_migrations where success);
end
$$;
revoke execute on function migrated_to() from public;
grant execute on function migrated_to() to witnessmark_app;

-- The note above this table in 0001 names a command that does not exist. What holds stands here, where an operator meets it.
comment on table server_epoch is
  'One server life. After a restored backup begin a new one, so that devices offer again what the backup lacks: '
  'update server_epoch set epoch = decode(replace(gen_random_uuid()::text, ''-'', ''''), ''hex''). '
  'A row that was deleted is made anew by the next request.';
