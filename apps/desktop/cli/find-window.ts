import { findElectron, hasDisplay, isRootOnLinux, type Surroundings } from './find-electron';

/** The binary that opens a window here, or why none can be opened, in words. */
export function findWindow(
  surroundings: Surroundings,
): { readonly binary: string; readonly why?: undefined } | { readonly why: string } {
  if (!hasDisplay(surroundings)) return { why: 'there is no display' };
  if (isRootOnLinux(surroundings)) {
    return { why: 'it is run as root, for whom the sandbox of a window cannot be used' };
  }
  const binary = findElectron(surroundings);
  return binary === null ? { why: 'no Electron binary is installed' } : { binary };
}
