import { svelte } from '@sveltejs/vite-plugin-svelte';
import { defineConfig } from 'vite';

export default defineConfig({
  root: import.meta.dirname,
  /* Relative addresses: the same files are served by the host and by the desktop's own scheme. */
  base: './',
  plugins: [svelte()],
  build: {
    outDir: '../dist/renderer',
    emptyOutDir: true,
    target: 'chrome114',
    modulePreload: { polyfill: false },
    /* The content policy allows no data: fonts or images from style sheets. */
    assetsInlineLimit: 0,
  },
});
