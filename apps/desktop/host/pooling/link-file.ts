import { createCipheriv, createDecipheriv, randomBytes } from 'node:crypto';
import { pseudonymSchema } from '@longhold/core/contribution';
import { enrolmentCodeSchema, idSchema } from '@longhold/core/exchange';
import { z } from 'zod';
import { HostFailure } from '../failure';
import { sendingSchema } from '../store';
import {
  deriveWrappingKey,
  requireStrongPassphrase,
  SCRYPT_COSTS,
  scryptCostsSchema,
} from '../store/passphrase';

const FORMAT = 'longhold pooling link';
const VERSION = 1;
const SALT_BYTES = 32;
const NONCE_BYTES = 12;
const TAG_BYTES = 16;

/** What a further desktop of the clinic needs to send under the same pseudonyms. */
const linkContentSchema = z.strictObject({
  address: z.string(),
  study: idSchema,
  member: idSchema,
  /** Used once, by the desktop that opens the file first. */
  code: enrolmentCodeSchema,
  secret: z.string().regex(/^[0-9a-f]{64}$/),
  /** What the clinic chose to send; files from before there was a choice are of clinics that send records. */
  sends: sendingSchema.nullable().default('records'),
  /** Pseudonyms of the patients who were withdrawn for good, so that no other desktop counts or sends them. */
  withdrawn: z.array(pseudonymSchema).default([]),
});
export type LinkContent = z.infer<typeof linkContentSchema>;

const base64Schema = z.string().regex(/^[A-Za-z0-9+/]*={0,2}$/);
const linkFileSchema = z.strictObject({
  format: z.literal(FORMAT),
  version: z.literal(VERSION),
  scrypt: scryptCostsSchema.extend({ salt: base64Schema }),
  nonce: base64Schema,
  sealed: base64Schema,
  tag: base64Schema,
});

/**
 * Seals a link by AES-256-GCM under a key derived from a passphrase by scrypt, as the store's key file is.
 * @throws StoreError weak-passphrase
 */
export async function sealLink(
  content: z.input<typeof linkContentSchema>,
  passphrase: string,
): Promise<string> {
  requireStrongPassphrase(passphrase, 'the link file');
  const salt = randomBytes(SALT_BYTES);
  const nonce = randomBytes(NONCE_BYTES);
  const cipher = createCipheriv(
    'aes-256-gcm',
    await deriveWrappingKey(passphrase, salt, SCRYPT_COSTS),
    nonce,
  );
  cipher.setAAD(Buffer.from(`${FORMAT} ${VERSION}`));
  const sealed = Buffer.concat([cipher.update(JSON.stringify(content), 'utf8'), cipher.final()]);
  const file = {
    format: FORMAT,
    version: VERSION,
    scrypt: { ...SCRYPT_COSTS, salt: salt.toString('base64') },
    nonce: nonce.toString('base64'),
    sealed: sealed.toString('base64'),
    tag: cipher.getAuthTag().toString('base64'),
  };
  return `${JSON.stringify(file, null, 2)}\n`;
}

/** @throws HostFailure link-file-damaged, or wrong-passphrase */
export async function openLink(text: string, passphrase: string): Promise<LinkContent> {
  const file = linkFileSchema.safeParse(readJson(text));
  if (!file.success) throw damaged();
  const { cost, blockSize, parallel, salt } = file.data.scrypt;
  const key = await deriveWrappingKey(passphrase, Buffer.from(salt, 'base64'), { cost, blockSize, parallel });
  const content = linkContentSchema.safeParse(readJson(opened(file.data, key)));
  if (content.success) return content.data;
  throw damaged();
}

function opened({ nonce, sealed, tag }: z.infer<typeof linkFileSchema>, key: Buffer): string {
  try {
    const decipher = createDecipheriv('aes-256-gcm', key, Buffer.from(nonce, 'base64'), {
      authTagLength: TAG_BYTES,
    });
    decipher.setAAD(Buffer.from(`${FORMAT} ${VERSION}`));
    decipher.setAuthTag(Buffer.from(tag, 'base64'));
    return Buffer.concat([decipher.update(Buffer.from(sealed, 'base64')), decipher.final()]).toString('utf8');
  } catch {
    throw new HostFailure(
      'wrong-passphrase',
      'The passphrase does not open this link file, or the file was altered. Use the passphrase that was chosen when it was made.',
    );
  }
}

function readJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    throw damaged();
  }
}

function damaged(): HostFailure {
  return new HostFailure(
    'link-file-damaged',
    'This is not a whole link file of Longhold. Make a new one on the clinic’s other desktop.',
  );
}
