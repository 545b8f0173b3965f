const KEY = /^#key=([\w-]+)$/;

/** Brings the one-time key of the address to the host and takes it out of the address. Without a key does nothing. */
export async function pageSession(): Promise<void> {
  const key = KEY.exec(location.hash)?.[1];
  if (key === undefined) return;
  history.replaceState(null, '', location.pathname);
  await fetch('/session', { method: 'POST', body: key, credentials: 'same-origin' });
}
