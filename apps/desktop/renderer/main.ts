import '@longhold/ui/tokens.css';
import './base.css';
import './print.css';
import { mount } from 'svelte';
import App from './App.svelte';

const target = document.getElementById('app');
if (target === null) throw new Error('the page has no element with the id "app"');

mount(App, { target });
