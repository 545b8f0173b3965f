/** Everything that can go wrong between the program and its store. The list is closed; each code has one sentence. */
export const STORE_ERROR_CODES = [
  'store-missing',
  'store-exists',
  'store-folder-missing',
  'key-file-missing',
  'key-file-damaged',
  'wrong-passphrase',
  'weak-passphrase',
  'store-damaged',
  'store-newer',
  'store-busy',
  'store-changed',
  'migration-failed',
  'unknown-patient',
  'disk-full',
  'not-writable',
  'io',
] as const;
export type StoreErrorCode = (typeof STORE_ERROR_CODES)[number];

/**
 * A fault of the store, safe to show and to log: it names files, tables and patient codes, never SQL, values or
 * passphrases. It deliberately carries no `cause`, because the driver's errors quote SQL and parameters.
 */
export class StoreError extends Error {
  readonly code: StoreErrorCode;
  /** The file or folder the message is about. */
  readonly path: string;
  /** What exactly was found, in words; null where the code says it all. */
  readonly detail: string | null;

  constructor(code: StoreErrorCode, path: string, detail: string | null = null) {
    super(SENTENCES[code](path, detail));
    this.name = 'StoreError';
    this.code = code;
    this.path = path;
    this.detail = detail;
  }
}

type Sentence = (path: string, detail: string | null) => string;

const SENTENCES: Record<StoreErrorCode, Sentence> = {
  'store-missing': (path) => `There is no store at ${path}. Choose an existing store, or create one there.`,
  'store-exists': (path, detail) =>
    `${detail ?? 'There is already a file'} at ${path}. Nothing was overwritten; choose another name.`,
  'store-folder-missing': (path) => `The folder ${path} does not exist. Create it, or choose another folder.`,
  'key-file-missing': (path) =>
    `The key file ${path} is missing. A store can only be opened with the key file that was made with it; put it back beside the store.`,
  'key-file-damaged': (path, detail) =>
    `The key file ${path} is damaged (${detail ?? 'it cannot be read'}). Put back an intact copy of it.`,
  'wrong-passphrase': (path) => `The passphrase does not open ${path}. Nothing was changed.`,
  'weak-passphrase': (_path, detail) => `The passphrase is too weak: ${detail ?? 'it is too short'}.`,
  'store-damaged': (path, detail) =>
    `The store ${path} is damaged: ${detail ?? 'its contents cannot be read'}. Nothing was changed; go back to a backup.`,
  'store-newer': (path, detail) =>
    `${path} was written by a newer Longhold (${detail ?? 'its form is unknown here'}). Nothing was changed; open it with that version.`,
  'store-busy': (path) =>
    `Another program is writing to ${path} and did not finish in time. Nothing was changed; try again.`,
  'store-changed': (path, detail) =>
    `${detail ?? 'A record'} in ${path} was changed by another program since it was read. Nothing was written; read the store again and repeat.`,
  'migration-failed': (path, detail) =>
    `${path} could not be brought to the form this version needs (${detail ?? 'a step failed'}). The store is as it was.`,
  'unknown-patient': (path, detail) => `${path} holds no patient with the code ${detail ?? 'asked for'}.`,
  'disk-full': (path) =>
    `There is no room to write ${path}: the disk, or the space allowed here, is full. The store is as it was; make room and try again.`,
  'not-writable': (path) => `${path} cannot be written. Check its permissions and those of its folder.`,
  io: (path, detail) => `${path} could not be read or written (${detail ?? 'unknown fault'}).`,
};
