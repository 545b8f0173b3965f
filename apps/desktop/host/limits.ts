/** The most that one call of the router may hold: 10,000 patients with all measures take some 60 MB as files. */
export const LARGEST_CALL = 256 * 1024 * 1024;
