import { Menu } from 'electron';

/** Only what a system expects of every program: ending, editing text, zoom and the window itself. */
export function windowMenu(): Menu {
  return Menu.buildFromTemplate([
    { label: 'Longhold', submenu: [{ role: 'quit' }] },
    { role: 'editMenu' },
    {
      label: 'View',
      submenu: [
        { role: 'resetZoom' },
        { role: 'zoomIn' },
        { role: 'zoomOut' },
        { type: 'separator' },
        { role: 'togglefullscreen' },
      ],
    },
    { role: 'windowMenu' },
  ]);
}
