CREATE TABLE `growth_tables` (
  `name` text NOT NULL,
  `measure` text NOT NULL,
  `content` text NOT NULL,
  `seal` text NOT NULL,
  PRIMARY KEY (`name`, `measure`)
) WITHOUT ROWID;
