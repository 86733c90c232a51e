// Lets the page show a state that is given, over a usual one; `model` changes what the page knows.
async ({model: more, ...change}) => {
  const {render} = await import('/preact.js');
  const {view} = await import('/view.js');
  const {attributes} = await import('/shown.js');
  const {start} = await import('/model.js');
  const check = (name, state, mark = null, ask = '') => ({name, state, why: 'not told', mark, ask});
  const state = {word: 'IN THE BAND', act: 'The level may be checked now.', fit: true, figure: '85',
    unit: '°C', band: '80 to 90 °C', soon: '12 min', time: 'about 12 min to the top of the band (8 to 20)',
    rate: '+1.2 °C/min', place: 0.5, facts: ['PLUG OUT since 08:25', 'idling'], conditions: ['in park'],
    link: 'Last reading 0.4 s ago', link_ok: true, recording: 'Recorded: x.csv', recording_ok: true,
    unheard: true, happened: ['00:01  Mark drip'], vehicle: 'test', clock: '00:05', plug_out: false, state: 'inside',
    marks: {'plug-out': '08:25'}, log: [{key: '1', name: 'plug-out', note: '', clock: '08:25', withdrawn: false}],
    last: {key: '1', name: 'plug-out', note: '', clock: '08:25', withdrawn: false},
    checks: [check('engine idling', 'met'), check('selector cycled', 'not known', 'selector-cycled', 'Cycled'),
      check('vehicle level', 'not met', 'vehicle-level', 'Measure')],
    outlook: ['idling 14 min', 'engine off: not'],
    step: {now: 'Open the check plug. Hot fluid burns: gloves, and nobody below it.', waits: 'Waits for the plug.'}, clash: '', cues: [], repeats: [], ...change};
  const model = {...start({steady: performance.now(), wall: Date.now()}), right: 'mark', state,
    light: document.documentElement.dataset.light, caution: 'Hot fluid burns.', ...more};
  render(view(model, () => {}), document.getElementById('page'));
  Object.assign(document.body.dataset, attributes(model));
}
