-- The public half of an enrolment's key. Its device makes the pair and never lets the other half out; the first one that
-- comes is kept, and another one that is offered later is refused and noted.
alter table devices
  add column key bytea constraint devices_key_length check (length(key) = 65),
  add column key_us bigint,
  add column key_refused_us bigint,
  add constraint devices_key_and_time check ((key is null) = (key_us is null));
