-- The PIN under a countersignature: its hash, the eight bits that phones get to tell a slip of the finger, and how often
-- in a row the server found another one.

alter table people
  add column pin_hash text,
  add column pin_salt bytea constraint people_pin_salt_length check (length(pin_salt) = 16),
  add column pin_bits smallint constraint people_pin_bits_range check (pin_bits between 0 and 255),
  add column pin_wrong integer not null default 0 constraint people_pin_wrong_sign check (pin_wrong >= 0),
  -- The one before: a phone without data may still hold it when it is changed.
  add column pin_before text,
  add column pin_before_until_us bigint,
  add constraint people_pin_whole check ((pin_hash is null) = (pin_salt is null) and (pin_hash is null) = (pin_bits is null));
