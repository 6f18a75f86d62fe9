"""How benches spell a channel's name: the words of the trade in several languages.

Written without accents and in any order of words; `channels.py` brings a header to this form.
A spelling under several channels is too general to decide by itself. Trade words; common
practice.
"""


def _words(text):
    return frozenset(text.split())


SPELLINGS = {
    "time_s": "time; t; ts; time stamp; timestamp; elapsed time; log time; clock; zeit; messzeit;"
    "zeitstempel; uhrzeit; temps; horodatage; heure; tiempo; hora; tempo; orario; ora; tid;"
    "tidpunkt; klockslag",
    "speed_rpm": "rpm; engine rpm; engine speed; crank speed; crankshaft speed; revs; speed; n;"
    "n engine; n mot; nmot; drehzahl; motordrehzahl; umdrehungen; regime; regime moteur;"
    "vitesse moteur; vitesse rotation; regimen; regimen motor; regimen giro; revoluciones;"
    "revoluciones motor; velocidad motor; giri; giri motore; numero giri; regime motore;"
    "regime rotazione; velocita motore; rotacao; rotacao motor; rotacoes; velocidade motor;"
    "varvtal; motorvarvtal; varv",
    "torque_nm": "torque; brake torque; shaft torque; trq; tq; drehmoment; motordrehmoment; moment;"
    "motormoment; md; couple; couple moteur; par; par motor; par torsion; torsion; coppia;"
    "coppia motore; torque motor; binario; binario motor; vridmoment; motorvridmoment",
    "power_w": "power; brake power; wheel power; hp; bhp; whp; kw; ps; load; leistung;"
    "motorleistung; puissance;"
    "puissance moteur; potencia; potencia motor; potenza; potenza motore; effekt; motoreffekt;"
    "last",
    "throttle": "throttle; throttle position; throttle opening; throttle angle; tps;"
    "drosselklappe; drosselklappenstellung; drosselklappenposition; drosselklappenwinkel;"
    "papillon; position papillon; ouverture papillon; papillon gaz; position papillon gaz;"
    "mariposa; posicion mariposa; apertura mariposa; acelerador; posicion acelerador; farfalla;"
    "posizione farfalla; apertura farfalla; borboleta; posicao borboleta; abertura borboleta;"
    "trottel; spjall; gasspjall; spjallvinkel; gasspjallsvinkel; trottellage",
    "p_cell_pa": "barometer; baro; barometric pressure; atmospheric pressure; ambient pressure;"
    "cell pressure; room pressure; luftdruck; umgebungsdruck; aussendruck; barometerstand;"
    "pression atmospherique; pression ambiante; pression barometrique; presion atmosferica;"
    "presion ambiente; presion barometrica; pressione atmosferica; pressione ambiente;"
    "pressione barometrica; pressao atmosferica; pressao ambiente; pressao barometrica; lufttryck;"
    "omgivningstryck; barometertryck; pressure",
    "t_cell_k": "ambient temperature; cell temperature; room temperature; air temperature;"
    "umgebungstemperatur; raumtemperatur; aussentemperatur; lufttemperatur; temperature ambiante;"
    "temperature air; temperatura ambiente; temperatura aire; temperatura aria; temperatura ar;"
    "omgivningstemperatur; lufttemperatur; rumstemperatur; temperature",
    "humidity": "humidity; relative humidity; rh; luftfeuchtigkeit; luftfeuchte; relative feuchte;"
    "relative luftfeuchtigkeit; humidite; humidite relative; humedad; humedad relativa; umidita;"
    "umidita relativa; umidade; umidade relativa; humidade; luftfuktighet; relativ luftfuktighet",
    "p_compressor_in_pa": "p1; compressor inlet pressure; compressor in pressure; air box pressure;"
    "pre compressor pressure; verdichtereintrittsdruck; pression entree compresseur;"
    "presion entrada compresor; pressione ingresso compressore; pressao entrada compressor;"
    "tryck fore kompressor; pressure",
    "t_compressor_in_k": "t1; compressor inlet temperature; compressor in temperature;"
    "pre compressor temperature; air box temperature; verdichtereintrittstemperatur;"
    "temperature entree compresseur; temperatura entrada compresor;"
    "temperatura ingresso compressore; temperatura entrada compressor;"
    "temperatur fore kompressor; air temperature; lufttemperatur; temperature",
    "p_compressor_out_pa": "p2; compressor outlet pressure; compressor out pressure;"
    "compressor discharge pressure; post compressor pressure; pre cooler pressure;"
    "pre intercooler pressure; before cooler pressure; before intercooler pressure;"
    "charge pipe pressure; verdichteraustrittsdruck; druck nach verdichter;"
    "druck vor ladeluftkuhler; pression sortie compresseur; presion salida compresor;"
    "pressione uscita compressore; pressao saida compressor; tryck efter kompressor; pressure",
    "t_compressor_out_k": "t2; compressor outlet temperature; compressor out temperature;"
    "compressor discharge temperature; post compressor temperature; pre cooler temperature;"
    "pre intercooler temperature; before cooler temperature; before intercooler temperature;"
    "verdichteraustrittstemperatur; temperatur nach verdichter; temperatur vor ladeluftkuhler;"
    "temperature sortie compresseur; temperatura salida compresor; temperatura uscita compressore;"
    "temperatura saida compressor; temperatur efter kompressor; temperature",
    "p_manifold_pa": "map; manifold pressure; manifold absolute pressure; intake pressure;"
    "intake manifold pressure; inlet manifold pressure; inlet pressure; boost; boost pressure;"
    "charge pressure; turbo pressure; plenum pressure; post cooler pressure;"
    "post intercooler pressure; after cooler pressure; after intercooler pressure; ladedruck;"
    "saugrohrdruck; ansaugdruck; druck nach ladeluftkuhler; druck saugrohr;"
    "pression admission; pression collecteur; pression collecteur admission;"
    "pression suralimentation; pression turbo; presion admision; presion colector;"
    "presion colector admision; presion carga; presion turbo; presion sobrealimentacion;"
    "pressione aspirazione; pressione collettore; pressione sovralimentazione; pressione turbo;"
    "pressione collettore aspirazione; pressao admissao; pressao coletor; pressao turbo;"
    "pressao coletor admissao; pressao sobrealimentacao; laddtryck; insugstryck; insugsrorstryck;"
    "pressure",
    "t_charge_k": "charge temperature; charge air temperature; intake temperature; iat; mat; act;"
    "intake air temperature; inlet air temperature; manifold air temperature; inlet temperature;"
    "manifold temperature; intake manifold temperature; after cooler temperature;"
    "after intercooler temperature; post cooler temperature; post intercooler temperature;"
    "air charge temperature; ladelufttemperatur; ansauglufttemperatur; saugrohrtemperatur;"
    "temperatur nach ladeluftkuhler; temperature air admission; temperature admission;"
    "temperature air suralimentation; temperature collecteur; temperatura admision;"
    "temperatura aire admision; temperatura colector; temperatura carga;"
    "temperatura aspirazione; temperatura aria aspirata; temperatura aria aspirazione;"
    "temperatura collettore; temperatura admissao; temperatura ar admissao; temperatura coletor;"
    "laddluftstemperatur; insugstemperatur; insugsluftstemperatur; temperature",
    "p_exhaust_pa": "exhaust pressure; back pressure; backpressure; exhaust back pressure;"
    "exhaust backpressure; exhaust manifold pressure; emap; emp; drive pressure; p3;"
    "turbine inlet pressure; turbine in pressure; pre turbine pressure; abgasgegendruck;"
    "abgasdruck; gegendruck; druck vor turbine; abgaskrummerdruck; contre pression;"
    "contre pression echappement; pression echappement; pression avant turbine;"
    "pression collecteur echappement; contrapresion; contrapresion escape; presion escape;"
    "presion colector escape; presion antes turbina; contropressione; contropressione scarico;"
    "pressione scarico; pressione collettore scarico; pressione ingresso turbina; contrapressao;"
    "contrapressao escape; pressao escape; pressao coletor escape; pressao entrada turbina;"
    "avgasmottryck; mottryck; avgastryck; tryck fore turbin; pressure",
    "t_exhaust_k": "exhaust temperature; exhaust gas temperature; egt; tit; t3;"
    "turbine inlet temperature; turbine in temperature; pre turbine temperature;"
    "exhaust manifold temperature; abgastemperatur; temperatur vor turbine;"
    "temperature echappement; temperature gaz echappement; temperature avant turbine;"
    "temperatura escape; temperatura gases escape; temperatura antes turbina;"
    "temperatura scarico; temperatura gas scarico; temperatura ingresso turbina;"
    "temperatura entrada turbina; avgastemperatur; temperatur fore turbin; temperature",
    "p_turbine_out_pa": "p4; turbine outlet pressure; turbine out pressure; post turbine pressure;"
    "after turbine pressure; downpipe pressure; druck nach turbine; pression sortie turbine;"
    "pression apres turbine; presion salida turbina; pressione uscita turbina;"
    "pressao saida turbina; tryck efter turbin; pressure",
    "t_turbine_out_k": "t4; turbine outlet temperature; turbine out temperature;"
    "post turbine temperature; after turbine temperature; downpipe temperature;"
    "temperatur nach turbine; temperature sortie turbine; temperature apres turbine;"
    "temperatura salida turbina; temperatura uscita turbina; temperatura saida turbina;"
    "temperatur efter turbin; temperature",
    "t_coolant_k": "coolant temperature; engine coolant temperature; clt; ect; water temperature;"
    "kuhlmitteltemperatur; kuhlwassertemperatur; wassertemperatur; motortemperatur;"
    "temperature eau; temperature liquide refroidissement; temperature refroidissement;"
    "temperatura agua; temperatura refrigerante; temperatura motor; temperatura acqua;"
    "temperatura liquido refrigerante; temperatura liquido refrigeracion;"
    "temperatura arrefecimento;"
    "kylvattentemperatur; kylvatsketemperatur; vattentemperatur; motortemperatur; temperature",
    "t_oil_k": "oil temperature; engine oil temperature; oltemperatur; motoroltemperatur;"
    "temperature huile; temperatura aceite; temperatura olio; temperatura oleo; oljetemperatur;"
    "temperature",
    "p_oil_gauge_pa": "oil pressure; engine oil pressure; oldruck; motoroldruck; pression huile;"
    "presion aceite; pressione olio; pressao oleo; oljetryck; pressure",
    "t_cooler_water_k": "cooler water temperature; intercooler water temperature;"
    "charge cooler water temperature; ice tank temperature; ice water temperature;"
    "ladeluftkuhlerwassertemperatur",
    "lam": "lambda; lam; lambda value; afr; air fuel ratio;"
    "afr gas; afr gasoline; afr petrol; afr benzin;"
    "afr essence; afr e85; afr ethanol; afr methanol; wideband; mixture; lambdawert;"
    "luftzahl; luftverhaltnis; gemisch; luft kraftstoff verhaltnis; rapport air carburant;"
    "relacion aire combustible; rapporto aria carburante; relacao ar combustivel;"
    "lambdavarde; luft bransle forhallande; sonde lambda; sonda lambda",
    "spark_deg": "ignition timing; ignition advance; ignition angle; ignition; ign; spark;"
    "spark advance; spark timing; spark angle; timing; advance; ign timing; ign adv; zundwinkel;"
    "zundzeitpunkt; zundung; vorzundung; avance; avance allumage; allumage; avance encendido;"
    "encendido; anticipo; anticipo accensione; accensione; avanco; avanco ignicao; ponto ignicao;"
    "ignicao; tandning; tandvinkel; tandlage; fortandning",
    "injector_time_s": "injector pulse width; inj pulse width; inj pw; injector pw; pulse width;"
    "injector time; injection time; injection duration; injector on time; einspritzzeit;"
    "einspritzdauer; temps injection; tiempo inyeccion; tempo iniezione; tempo injecao;"
    "insprutningstid",
    "injector_duty": "injector duty; injector duty cycle; inj duty; inj dc; idc;"
    "einspritzventil tastverhaltnis; inj duty cycle",
    "p_rail_gauge_pa": "fuel pressure; rail pressure; fuel rail pressure; kraftstoffdruck;"
    "benzindruck; raildruck; pression carburant; pression essence; pression rampe;"
    "presion combustible; presion gasolina; presion rampa; pressione carburante;"
    "pressione benzina; pressao combustivel; bransletryck; pressure",
    "air_flow_kg_s": "air flow; airflow; air; mass air flow; air mass flow; maf; intake air flow;"
    "compressor flow; mdot compressor; mdot air; compressor mass flow; luftmasse; luftmassenstrom;"
    "luftdurchsatz; debit air; debit massique air; caudal aire; flujo aire; masa aire;"
    "portata aria; massa aria; flusso aria; fluxo ar; vazao ar; massa ar; luftmassa; luftflode;"
    "luftmassflode",
    "fuel_flow_kg_s": "fuel flow; fuel mass flow; fuel rate; fuel consumption; fuelflow;"
    "mdot fuel; kraftstoffverbrauch; kraftstoffmassenstrom; kraftstoffdurchsatz; verbrauch;"
    "debit carburant; consommation; consommation carburant; caudal combustible; consumo;"
    "consumo combustible; portata carburante; consumo carburante; vazao combustivel;"
    "consumo combustivel; bransleflode; bransleforbrukning",
    "gate_duty": "wastegate duty; wg duty; wgdc; wastegate duty cycle; boost duty;"
    "boost control duty; boost solenoid duty; gate duty; boost duty cycle; boost solenoid;"
    "ladedruckregelung tastverhaltnis; ladedruck tastverhaltnis",
    "p_gate_top_gauge_pa": "dome pressure; gate top pressure; gate top port; top port pressure;"
    "wastegate dome pressure; wastegate top pressure; pressure",
    "gate_lift_m": "wastegate lift; gate lift; wastegate position; gate position; wg position;"
    "wastegate travel",
    "shaft_speed_rpm": "turbo speed; turbo rpm; turbo shaft speed; turbocharger speed; shaft speed;"
    "turbine speed; turbine shaft speed; compressor speed; turboladerdrehzahl; laderdrehzahl;"
    "turbodrehzahl; regime turbo; vitesse turbo; velocidad turbo; giri turbo; velocita turbo;"
    "rotacao turbo; velocidade turbo; turbovarvtal",
    "vehicle_speed_m_s": "vehicle speed; road speed; wheel speed; car speed; roller speed; vss;"
    "speed; geschwindigkeit; fahrgeschwindigkeit; vitesse; vitesse vehicule; velocidad;"
    "velocidad vehiculo; velocita; velocita veicolo; velocidade; velocidade veiculo; hastighet;"
    "fordonshastighet",
}

# Short forms and compounds, brought to the same words before the comparison.
ABBREVIATIONS = {
    "temp": "temperature",
    "tmp": "temperature",
    "temperatur": "temperature",
    "press": "pressure",
    "pres": "pressure",
    "druck": "pressure",
    "tryck": "pressure",
    "pos": "position",
    "eng": "engine",
    "spd": "speed",
    "exh": "exhaust",
    "mani": "manifold",
    "manif": "manifold",
    "comp": "compressor",
    "turb": "turbine",
    "atm": "atmospheric",
    "amb": "ambient",
    "baro": "barometer",
    "thr": "throttle",
    "ic": "intercooler",
    "wg": "wastegate",
    "inj": "injector",
    "dc": "duty cycle",
    "pw": "pulse width",
    "adv": "advance",
    "ign": "ignition",
}

# Words that do not change what a channel is.
HARMLESS = _words(
    "engine motor motore moteur sensor signal actual measured meas value ist istwert wert messwert"
    " mesure mesuree medido medida misurato misurata valor valore varde matvarde dyno ecu can"
    " reading channel direct gauge gage absolute abs absolut relative brake"
    " p1 p2 p3 p4 t1 t2 t3 t4"
)

# Too general to decide without a unit that fits.
NEEDS_UNIT = _words("load last n par moment act mat air")

# Articles and prepositions of the Romance languages, dropped before the comparison.
ARTICLES = _words("de du des d la le les l el del dell della di da do das dos al au a")

# Words that make it another quantity: what was asked for, not what was measured.
OTHER = _words(
    "target soll sollwert desired demand demanded request requested setpoint set command commanded"
    " cmd error correction corrected corr trim limit max min maximum minimum mean avg average"
    " delta diff difference consigne objectif objetivo obiettivo alvo borvarde delay state status"
    " flag raw voltage volt volts count shift"
)

ABSOLUTE = _words("abs absolute absolut absolu absoluta assoluta assoluto absoluto psia map emap")
GAUGE = _words("gauge gage relative rel relativ uberdruck relatif relativa manometric psig boost")
