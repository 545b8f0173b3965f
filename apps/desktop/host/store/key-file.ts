import { createCipheriv, createDecipheriv, createHash, randomBytes } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { z } from 'zod';
import { StoreError } from './errors';
import { fileSize, writeWhole } from './files';
import {
  deriveWrappingKey,
  requireStrongPassphrase,
  scryptCostsSchema,
  type ScryptCosts,
} from './passphrase';
import { MASTER_KEY_BYTES } from './store-keys';

const FORMAT = 'longhold store key';
const VERSION = 1;
const SALT_BYTES = 32;
const NONCE_BYTES = 12;
const TAG_BYTES = 16;

/** Far more than a key file has; anything larger is not one. */
const LARGEST_KEY_FILE_BYTES = 10_000;

const hexOf = (bytes: number): z.ZodString =>
  z.string().regex(new RegExp(`^[0-9a-f]{${2 * bytes}}$`), `${bytes} bytes in hexadecimal`);

const headerSchema = z.object({ format: z.literal(FORMAT), version: z.int().min(1) });

/**
 * The file beside a store that holds the store's key, wrapped by AES-256-GCM under a key derived from the
 * passphrase. `checksum` is the SHA-256 of all other fields: it tells a damaged file from a wrong passphrase.
 */
const keyFileSchema = z.strictObject({
  format: z.literal(FORMAT),
  version: z.literal(VERSION),
  scrypt: scryptCostsSchema.extend({ salt: hexOf(SALT_BYTES) }),
  nonce: hexOf(NONCE_BYTES),
  wrappedKey: hexOf(MASTER_KEY_BYTES),
  tag: hexOf(TAG_BYTES),
  checksum: hexOf(32),
});
type KeyFile = z.infer<typeof keyFileSchema>;

/** Where the key of a store lies. */
export function keyFilePath(storePath: string): string {
  return `${storePath}.key`;
}

/** Writes the key file of a new store; refuses to replace one that is there. */
export async function createKeyFile(
  storePath: string,
  master: Buffer,
  passphrase: string,
  costs: ScryptCosts,
): Promise<void> {
  const path = keyFilePath(storePath);
  requireStrongPassphrase(passphrase, storePath);
  await writeWhole(path, asText(await wrap(master, passphrase, costs)), 'refuse');
}

/** The store's key. A wrong passphrase is noticed here, by the tag of the wrapping, before the store is touched. */
export async function readMasterKey(storePath: string, passphrase: string): Promise<Buffer> {
  return unwrap(await readKeyFile(keyFilePath(storePath)), passphrase, storePath);
}

/** Wraps the same key under a new passphrase, with the same scrypt costs; the store itself is not touched. */
export async function changePassphrase(change: {
  path: string;
  passphrase: string;
  newPassphrase: string;
}): Promise<void> {
  const { path, passphrase, newPassphrase } = change;
  const keyFile = await readKeyFile(keyFilePath(path));
  const master = await unwrap(keyFile, passphrase, path);
  requireStrongPassphrase(newPassphrase, path);
  await writeWhole(keyFilePath(path), asText(await wrap(master, newPassphrase, keyFile.scrypt)), 'replace');
}

async function wrap(master: Buffer, passphrase: string, costs: ScryptCosts): Promise<KeyFile> {
  const { cost, blockSize, parallel } = costs;
  const salt = randomBytes(SALT_BYTES);
  const nonce = randomBytes(NONCE_BYTES);
  const scrypt = { cost, blockSize, parallel, salt: salt.toString('hex') };
  const cipher = createCipheriv('aes-256-gcm', await deriveWrappingKey(passphrase, salt, costs), nonce);
  cipher.setAAD(boundText(scrypt));
  const wrapped = Buffer.concat([cipher.update(master), cipher.final()]);
  const body = {
    format: FORMAT,
    version: VERSION,
    scrypt,
    nonce: nonce.toString('hex'),
    wrappedKey: wrapped.toString('hex'),
    tag: cipher.getAuthTag().toString('hex'),
  } as const;
  return { ...body, checksum: checksumOf(body) };
}

async function unwrap(keyFile: KeyFile, passphrase: string, storePath: string): Promise<Buffer> {
  const { scrypt } = keyFile;
  const wrappingKey = await deriveWrappingKey(passphrase, Buffer.from(scrypt.salt, 'hex'), scrypt);
  const decipher = createDecipheriv('aes-256-gcm', wrappingKey, Buffer.from(keyFile.nonce, 'hex'), {
    authTagLength: TAG_BYTES,
  });
  decipher.setAAD(boundText(scrypt));
  decipher.setAuthTag(Buffer.from(keyFile.tag, 'hex'));
  try {
    return Buffer.concat([decipher.update(Buffer.from(keyFile.wrappedKey, 'hex')), decipher.final()]);
  } catch {
    throw new StoreError('wrong-passphrase', storePath);
  }
}

async function readKeyFile(path: string): Promise<KeyFile> {
  const size = await fileSize(path);
  if (size === null) throw new StoreError('key-file-missing', path);
  if (size > LARGEST_KEY_FILE_BYTES) throw new StoreError('key-file-damaged', path, 'it is far too long');
  const content = parseJson(await readFile(path, 'utf8'), path);
  const header = headerSchema.safeParse(content);
  if (header.success && header.data.version > VERSION) {
    throw new StoreError(
      'store-newer',
      path,
      `key file version ${header.data.version}, known here: ${VERSION}`,
    );
  }
  const keyFile = keyFileSchema.safeParse(content);
  if (!keyFile.success) {
    const field = keyFile.error.issues[0]?.path.join('.') || 'the whole';
    throw new StoreError('key-file-damaged', path, `unexpected contents at: ${field}`);
  }
  if (checksumOf(keyFile.data) !== keyFile.data.checksum) {
    throw new StoreError('key-file-damaged', path, 'its checksum does not fit');
  }
  return keyFile.data;
}

function parseJson(text: string, path: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    throw new StoreError('key-file-damaged', path, 'it is not JSON');
  }
}

/** Text bound to the wrapped key by the tag, so that nobody can lower the costs of an existing key file. */
function boundText(scrypt: KeyFile['scrypt']): Buffer {
  return Buffer.from(
    JSON.stringify([FORMAT, VERSION, scrypt.cost, scrypt.blockSize, scrypt.parallel, scrypt.salt]),
  );
}

function checksumOf(body: Omit<KeyFile, 'checksum'>): string {
  const { format, version, scrypt, nonce, wrappedKey, tag } = body;
  const { cost, blockSize, parallel, salt } = scrypt;
  const fields = [format, version, cost, blockSize, parallel, salt, nonce, wrappedKey, tag];
  return createHash('sha256').update(JSON.stringify(fields)).digest('hex');
}

function asText(keyFile: KeyFile): string {
  return `${JSON.stringify(keyFile, null, 2)}\n`;
}
