export type { ImportNote, ImportToApply } from './apply-import';
export type { AuditAction, AuditEntry, Authorship } from './audit';
export { createStore, type CreateStoreOptions } from './create-store';
export { STORE_ERROR_CODES, StoreError, type StoreErrorCode } from './errors';
export { changePassphrase, keyFilePath } from './key-file';
export { openStore, type OpenStoreOptions } from './open-store';
export { SCRYPT_COSTS, type ScryptCosts } from './passphrase';
export type { SettingKey, SettingValue } from './settings';
export type { Store } from './store';
