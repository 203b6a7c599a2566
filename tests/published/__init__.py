"""Values that we did not find: standards, manuals, handbooks, papers, reference libraries, against what the product says.

What was looked up as a check and is none, with the reason:

| value | source | why not |
|---|---|---|
| 0.456 V between full and empty | Schiffer et al. 2007, vented stationary cells | not a battery of vehicles; half the span of one |
| density corrected by 0.004 per 10 °F | US Army TM 5-1185, hydrometers | nobody gives the product a hydrometer's reading |
| density falls in a line with the charge taken | DOE-HDBK-1084-95, p. 17 | words, no value; the interval of capacity rests on it |
| lithium iron phosphate electrode by formula | Prada2013 set of PyBaMM | one electrode; the whole cell's curve is tested |
| 24 h and more to settle | Voicila et al., Batteries 2025 | words; that a short rest says little of lithium is tested on drives |
| 45 to 164 h for a hysteresis map | Na et al. (abstract) | what a laboratory needs, not what a monitor says |
| exponent 1.03 to 1.22 from C/20 to 2C | PyBaMM lead_acid.Full, Sulzer2019 | no time to empty is computed from one exponent |
| 20 h capacity, reserve capacity, cranking currents | EN 50342-1, SAE J537 (from memory) | definitions; the label is entered in ampere-hours |
| 0.55 to 0.60 of the reserve minutes | reference pages | the label is entered in ampere-hours |
| 75 % at 0 °C, 40 % at -18 °C (6 h); cranking 65 and 40 % | US Army TM 9-6140-200-14, TM 5-4210-230-14&P-1 | steeper than the IEC factor in use; no figure is shown for such cold |
| yearly tests below 90 %; intervals of tests | FIST 3-6; IEEE 450 and 1188 (from memory) | nothing is scheduled |
| gassing 0.183 per volt of a block | code of a public simulator | a tenth of the paper's value, believed wrong |
| ageing of a 250 Ah lithium cell | blast-lite 1.1.1 | a fit of one large cell; life is forecast by three published sets that differ by more, each tested |
| 91 % stored from 0 to 84 %, 55 % from 79 to 84 % | Stevens and Corey 1996 (from memory) | numbers not seen in print; the shape is tested |
| light load for 15 s, then minutes | US Army TM 5-3805-262-20 | instructions to a person; the wait is tested on parkings |
| 15 s at half the cranking current, 12.4 V and more before a load test | BCI practice (from memory) | instructions to a person with a load tester |
| 0.1 A of white noise counts 0.008 Ah a day | arithmetic | what a zero that is off costs is tested |
| errors of other estimators: 0.2 to 3.75 % | Vasebi 2008, Tran 2017, Yi 2024, Guo 2025, Xie 2018, Ye 2025 and others | on their own cells, no data to repeat |
| seventeen parameters of a monitor | IEEE 1491-2005 (count; list from memory) | stationary batteries: float, ripple, ground fault, density have no place here |
| 80, 15, 5 % of alarms low, medium, high | ISA-18.2-2016, 16.4 | for thousands of alarms of a plant |
| delays of 15 and 60 s | EEMUA 191 (from memory) | plant signals; delays are tested for what they do |
| worksheets 1 to 5 | Sandia, Stand-Alone PV Systems | the worked sheet of that form is tested |
| microvolts and tenths of a degree | kernel, sysfs-class-power | no driver reads that class |
| 500 to 3000 erase cycles | vendor-neutral guidance (from memory) | what is written a day is a benchmark (bench_log) |
| 12 mOhm from 12.6 to 10.2 V at 200 A | arithmetic | no current of a start is measured |
"""
