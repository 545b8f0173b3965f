-- The table stays as it is. Its documents may now say that a clinic sends statistics; a program that does not know such
-- documents is told that the store is newer, instead of taking it for damaged.
SELECT 1;
