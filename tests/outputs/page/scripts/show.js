// Lets the page show a state that is given, over a usual one.
async (change) => {
  const {draw} = await import('/draw.js');
  draw({word: 'IN THE BAND', act: 'The level may be checked now.', fit: true, figure: '85',
    unit: '°C', band: '80 to 90 °C', soon: '12 min', time: 'about 12 min to the top of the band (8 to 20)',
    rate: '+1.2 °C/min', place: 0.5, facts: ['PLUG OUT since 08:25', 'idling'], conditions: ['in park'],
    link: 'Last reading 0.4 s ago', link_ok: true, recording: 'Recorded: x.csv', recording_ok: true,
    unheard: true, happened: ['00:01  Mark drip'], vehicle: 'test', clock: '00:05', marks: {}, plug_out: false, state: 'inside',
    ...change});
}
