import { scrypt } from 'node:crypto';
import { z } from 'zod';
import { StoreError } from './errors';

const SHORTEST_PASSPHRASE = 8;
const WRAPPING_KEY_BYTES = 32;

/**
 * Costs of the scrypt function (RFC 7914): `cost` is N, `blockSize` r, `parallel` p. The upper bounds keep a forged
 * key file from asking for more memory than the machine has (128 x N x r bytes; 1 GiB at most here).
 */
export const scryptCostsSchema = z.strictObject({
  cost: z
    .int()
    .min(2)
    .max(2 ** 20)
    .refine((n) => (n & (n - 1)) === 0, 'a power of two'),
  blockSize: z.int().min(1).max(8),
  parallel: z.int().min(1).max(4),
});
export type ScryptCosts = z.infer<typeof scryptCostsSchema>;

/**
 * N = 2^17, r = 8, p = 1: 128 MiB and some tenths of a second for each guess. The figures of the password-storage
 * guidance of the Open Worldwide Application Security Project (from memory).
 */
export const SCRYPT_COSTS: ScryptCosts = Object.freeze({ cost: 2 ** 17, blockSize: 8, parallel: 1 });

/** Compatibility form (NFKC), so that the same keys pressed on another keyboard or system give the same bytes. */
function normalised(passphrase: string): string {
  return passphrase.normalize('NFKC');
}

/** Refuses a new passphrase of fewer than 8 characters (code points after normalisation). */
export function requireStrongPassphrase(passphrase: string, path: string): void {
  if ([...normalised(passphrase)].length < SHORTEST_PASSPHRASE) {
    throw new StoreError('weak-passphrase', path, `it needs at least ${SHORTEST_PASSPHRASE} characters`);
  }
}

/** The 32-byte key that wraps the store's own key, derived from the passphrase by scrypt. */
export function deriveWrappingKey(passphrase: string, salt: Buffer, costs: ScryptCosts): Promise<Buffer> {
  const options = {
    N: costs.cost,
    r: costs.blockSize,
    p: costs.parallel,
    // Node refuses scrypt beyond 32 MiB unless told; this is the need and some room.
    maxmem: 128 * costs.blockSize * (costs.cost + costs.parallel + 2) + 2 ** 20,
  };
  return new Promise((resolve, reject) => {
    scrypt(normalised(passphrase), salt, WRAPPING_KEY_BYTES, options, (error, key) =>
      error === null ? resolve(key) : reject(error),
    );
  });
}
