import { Host } from './host';
import type { Bundle } from './bundle';
import { servePage } from './http/server';

/** What `startServing` has started. */
export interface Serving {
  readonly address: string;
  /** Stops serving, closes the store and removes the demo. */
  readonly close: () => Promise<void>;
}

/** What is open when serving starts. */
export type FirstOpen =
  | { readonly kind: 'nothing' | 'demo' }
  | { readonly kind: 'store'; readonly path: string; readonly passphrase: string };

/** Starts the host for a browser. Port 0 takes any free one. */
export async function startServing(
  bundle: Bundle,
  options: { readonly open: FirstOpen; readonly port: number },
): Promise<Serving> {
  const host = new Host(bundle);
  try {
    const { open } = options;
    if (open.kind === 'demo') await host.openDemo();
    if (open.kind === 'store') await host.openStore(open.path, open.passphrase);
    const server = await servePage({ host, pageFolder: bundle.pageFolder, port: options.port });
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
