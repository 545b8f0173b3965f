import type { SessionDefaults } from '../state/host';

/** A file for a new store in the usual folder, under a name that is not taken there. */
export function freePath({ folder, existing }: Pick<SessionDefaults, 'folder' | 'existing'>): string {
  const slash = folder.includes('\\') ? '\\' : '/';
  for (let number = 1; ; number += 1) {
    const path = `${folder}${slash}clinic${number === 1 ? '' : `-${number}`}.longhold`;
    if (!existing.includes(path)) return path;
  }
}
