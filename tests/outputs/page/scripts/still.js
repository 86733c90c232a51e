// A page that hears nothing and has no clock: it shows only what a test gives it.
window.EventSource = class { addEventListener() {} close() {} };
window.Worker = class {};
