import type { AddressInfo } from 'node:net';
import type { Log } from '../http/log';
import { createService } from '../http/server';
import type { PoolComputer } from '../pool/computer';
import type { Unpacker } from '../batch/unpacker';
import type { SyncStore } from '../store/sync-store';
import { firstCoordinatorCode } from '../study/enrolment';
import type { Settings } from './options';

/** A service that listens. */
export interface RunningService {
  readonly port: number;
  /** Answers what is under way, then closes the store. */
  stop(): Promise<void>;
}

/** Starts listening; says the coordinator's code once, where the study is new. */
export async function serve(given: {
  readonly settings: Settings;
  readonly store: SyncStore;
  readonly log: Log;
  readonly computer: PoolComputer;
  readonly unpacker: Unpacker;
  readonly now: () => Date;
  readonly say: (line: string) => void;
}): Promise<RunningService> {
  const { settings, store, log, computer, unpacker, now, say } = given;
  const service = await createService({ store, now, log, computer, unpacker, ...settings });
  const first = await firstCoordinatorCode(store, now);
  if (first !== null) {
    say(`Enrolment code of the coordinator, said this once, good until ${first.expires}: ${first.code}`);
  }
  await service.listen({ host: settings.host, port: settings.port });
  const port = portOf(service.server.address());
  log.info('listening', { port, store: settings.place.kind });
  say(`Listening on ${settings.tls === null ? 'http' : 'https'}://${settings.host}:${port}`);
  return {
    port,
    stop: async () => {
      await service.close();
      await store.close();
      log.info('stopped');
    },
  };
}

function portOf(address: string | AddressInfo | null): number {
  if (address === null || typeof address === 'string') throw new Error('the service listens on no port');
  return address.port;
}
