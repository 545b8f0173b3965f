import { isIP } from 'node:net';
import { HostFailure } from '../failure';

/**
 * The address of a service as requests are sent to it: https, or http to this very computer. Over plain http on a network
 * anyone on the way could read the records and take over the token; to this computer there is no way between.
 *
 * @throws HostFailure invalid-input
 */
export function serviceAddress(text: string): string {
  const address = parsed(text);
  if (address.username !== '' || address.password !== '' || address.search !== '' || address.hash !== '') {
    throw refused('It has parts that do not belong there: give scheme, host, and port or path only.');
  }
  if (address.protocol !== 'https:' && !(address.protocol === 'http:' && isLoopback(address.hostname))) {
    throw refused(
      'It must begin with https://. Plain http is taken for a service on this computer only, because others on the network could read along.',
    );
  }
  return `${address.origin}${address.pathname.replace(/\/+$/, '')}`;
}

/** Whether a service runs on this very computer. */
export function isOnThisComputer(address: string): boolean {
  return isLoopback(new URL(address).hostname);
}

function parsed(text: string): URL {
  try {
    return new URL(text.trim());
  } catch {
    throw refused('It is not an address such as https://pool.example.org.');
  }
}

function isLoopback(hostname: string): boolean {
  const host = hostname.replace(/^\[|\]$/g, '');
  return host === 'localhost' || host === '::1' || (isIP(host) === 4 && host.startsWith('127.'));
}

function refused(why: string): HostFailure {
  return new HostFailure('invalid-input', `The address of the service can't be used. ${why}`);
}
