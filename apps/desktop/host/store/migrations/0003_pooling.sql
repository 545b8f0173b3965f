CREATE TABLE `pooling` (
  `kind` text NOT NULL,
  `key` text NOT NULL,
  `content` text NOT NULL,
  `seal` text NOT NULL,
  PRIMARY KEY (`kind`, `key`)
) WITHOUT ROWID;
