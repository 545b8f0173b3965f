import { Host } from './host';
import { readBundle } from './bundle';
import { servePage } from './http/server';

/** What `startServing` has started. */
export interface Serving {
  readonly address: string;
  /** Stops serving, closes the store and removes the demo. */
  readonly close: () => Promise<void>;
}

/** Starts the host for a browser: with the invented demo open, or with nothing open. */
export async function startServing(options: {
  readonly demo: boolean;
  readonly port?: number;
}): Promise<Serving> {
  const bundle = readBundle(__dirname);
  const host = new Host(bundle);
  try {
    if (options.demo) await host.openDemo();
    const server = await servePage({ host, pageFolder: bundle.pageFolder, port: options.port ?? 0 });
    return {
      address: server.address,
      close: async () => {
        await server.close();
        await host.close();
      },
    };
  } catch (thrown) {
    await host.close();
    throw thrown;
  }
}
