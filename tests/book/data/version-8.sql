PRAGMA application_id = 1297435715;
PRAGMA user_version = 8;
BEGIN TRANSACTION;
CREATE TABLE backdrop (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  revision INTEGER NOT NULL,
  name TEXT NOT NULL,
  image BLOB NOT NULL,
  first_px_x REAL NOT NULL,
  first_px_y REAL NOT NULL,
  second_px_x REAL NOT NULL,
  second_px_y REAL NOT NULL,
  distance_m REAL NOT NULL,
  first_at_x_m REAL NOT NULL,
  first_at_y_m REAL NOT NULL,
  rotation_deg REAL NOT NULL,
  fade REAL NOT NULL
) STRICT;
INSERT INTO "backdrop" VALUES(1,1,'sketch.png',X'89504E470D0A1A0A0000000D4948445200000008000000080800000000E164E1570000000E49444154789C6368800206CA1800808420010D8024610000000049454E44AE426082',1.0,6.0,7.0,6.0,12.0,0.5,-0.25,4.5,0.35);
CREATE TABLE bed (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL
) STRICT;
INSERT INTO "bed" VALUES('quince-bed',0,'Quince bed');
INSERT INTO "bed" VALUES('wall-bed',1,'By the wall');
CREATE TABLE bed_corner (
  bed TEXT NOT NULL REFERENCES bed (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  east_m REAL NOT NULL,
  north_m REAL NOT NULL,
  PRIMARY KEY (bed, position)
) STRICT;
INSERT INTO "bed_corner" VALUES('quince-bed',0,0.0,0.0);
INSERT INTO "bed_corner" VALUES('quince-bed',1,4.0,0.0);
INSERT INTO "bed_corner" VALUES('quince-bed',2,4.0,2.5);
CREATE TABLE bed_plant (
  bed TEXT NOT NULL REFERENCES bed (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  plant TEXT NOT NULL,
  PRIMARY KEY (bed, position)
) STRICT;
INSERT INTO "bed_plant" VALUES('quince-bed',0,'quince');
INSERT INTO "bed_plant" VALUES('quince-bed',1,'comfrey');
CREATE TABLE book (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  revision INTEGER NOT NULL,
  written_by TEXT NOT NULL
) STRICT;
INSERT INTO "book" VALUES(1,6,'0.1.0');
CREATE TABLE change (
  revision INTEGER PRIMARY KEY,
  of_garden INTEGER NOT NULL CHECK (of_garden IN (0, 1)),
  what TEXT NOT NULL
, of_logbook INTEGER NOT NULL DEFAULT 0) STRICT;
INSERT INTO "change" VALUES(1,1,'the book was made',0);
INSERT INTO "change" VALUES(2,0,'the setting weather_source was changed',0);
INSERT INTO "change" VALUES(3,1,'the pick of 18 September 2031 at Under the quince added',1);
INSERT INTO "change" VALUES(4,1,'the pick of 18 September 2031 at Under the quince removed',1);
INSERT INTO "change" VALUES(5,1,'the money and hours of 2030 removed',1);
INSERT INTO "change" VALUES(6,1,'taken back: the money and hours of 2030 removed',1);
CREATE TABLE check_finding (
  identity_check TEXT NOT NULL
    REFERENCES identity_check (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  feature TEXT NOT NULL,
  finding TEXT NOT NULL,
  PRIMARY KEY (identity_check, position)
) STRICT;
INSERT INTO "check_finding" VALUES('check-1',0,'cap-wine-red','as_described');
INSERT INTO "check_finding" VALUES('check-1',1,'print-dark','not_seen');
CREATE TABLE check_pick (
  identity_check TEXT NOT NULL
    REFERENCES identity_check (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  pick TEXT NOT NULL,
  PRIMARY KEY (identity_check, position)
) STRICT;
INSERT INTO "check_pick" VALUES('check-1',0,'pick-1');
INSERT INTO "check_pick" VALUES('check-1',1,'pick-2');
CREATE TABLE crown (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  radius_m REAL NOT NULL,
  height_m REAL NOT NULL,
  base_m REAL NOT NULL,
  trunk_radius_m REAL NOT NULL,
  evergreen INTEGER NOT NULL CHECK (evergreen IN (0, 1)),
  leaf_from INTEGER NOT NULL,
  leaf_until INTEGER NOT NULL,
  transmissivity_in_leaf REAL NOT NULL,
  transmissivity_bare REAL NOT NULL,
  young_bark INTEGER NOT NULL CHECK (young_bark IN (0, 1))
) STRICT;
INSERT INTO "crown" VALUES('quince-tree',0,'Old quince',2.0,1.0,1.8,4.2,1.5,0.1,0,115,305,0.05,0.5,0);
INSERT INTO "crown" VALUES('holly',1,'Young holly',-3.25,7.5,0.9,2.4,0.1,0.04,1,200,120,0.03,0.03,1);
CREATE TABLE dryer (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  trays INTEGER NOT NULL,
  tray_area_m2 REAL NOT NULL,
  watts REAL NOT NULL,
  revision INTEGER NOT NULL
) STRICT;
INSERT INTO "dryer" VALUES('trays',0,'Old tray dryer',5,0.09,450.0,1);
CREATE TABLE drying (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  dryer TEXT NOT NULL REFERENCES dryer (key) DEFERRABLE INITIALLY DEFERRED,
  started_at TEXT NOT NULL,
  fresh_kg REAL NOT NULL,
  thickness_m REAL NOT NULL,
  temperature_c REAL NOT NULL,
  room_temperature_c REAL NOT NULL,
  room_humidity REAL NOT NULL,
  ended_at TEXT,
  dry_kg REAL,
  revision INTEGER NOT NULL
) STRICT;
INSERT INTO "drying" VALUES('load-1',0,'trays','2031-09-15T19:30:00-05:00',0.9,0.006,52.0,21.5,0.0,'2031-09-16T04:30:00-05:00',0.085,1);
INSERT INTO "drying" VALUES('load-2',1,'trays','2031-10-25T19:30:00-05:00',0.3,0.004,50.0,20.0,0.6,NULL,NULL,1);
CREATE TABLE drying_use (
  drying TEXT NOT NULL REFERENCES drying (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  pick_use TEXT NOT NULL REFERENCES pick_use (key) DEFERRABLE INITIALLY DEFERRED,
  PRIMARY KEY (drying, position)
) STRICT;
INSERT INTO "drying_use" VALUES('load-1',0,'use-2');
CREATE TABLE drying_weighing (
  drying TEXT NOT NULL REFERENCES drying (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  weighed_at TEXT NOT NULL,
  mass_kg REAL NOT NULL,
  PRIMARY KEY (drying, position)
) STRICT;
INSERT INTO "drying_weighing" VALUES('load-1',0,'2031-09-15T22:30:00-05:00',0.41);
INSERT INTO "drying_weighing" VALUES('load-1',1,'2031-09-16T03:00:00-05:00',0.1);
CREATE TABLE forecast (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  source TEXT NOT NULL,
  station TEXT NOT NULL,
  licence TEXT NOT NULL,
  file_name TEXT NOT NULL,
  seen_on TEXT,
  has_wind INTEGER NOT NULL CHECK (has_wind IN (0, 1)),
  has_vapour_pressure INTEGER NOT NULL CHECK (has_vapour_pressure IN (0, 1)),
  has_solar_radiation INTEGER NOT NULL CHECK (has_solar_radiation IN (0, 1)),
  issued_at TEXT NOT NULL
) STRICT;
INSERT INTO "forecast" VALUES(1,'made up for the tests','TH000001','public domain','tern-hollow.csv','2032-03-05',1,0,1,'2032-02-26T06:00:00+00:00');
CREATE TABLE forecast_column (
  position INTEGER PRIMARY KEY,
  quantity TEXT NOT NULL UNIQUE,
  column_name TEXT NOT NULL
) STRICT;
INSERT INTO "forecast_column" VALUES(0,'rain_mm','PRCP');
INSERT INTO "forecast_column" VALUES(1,'temperature_min_c','TMIN');
CREATE TABLE forecast_day (
  day TEXT PRIMARY KEY,
  temperature_min_c REAL,
  temperature_max_c REAL,
  rain_mm REAL,
  wind_m_s REAL,
  vapour_pressure_pa REAL,
  solar_radiation_j_m2 REAL
) STRICT;
INSERT INTO "forecast_day" VALUES('2032-02-27',-3.1,6.0,0.0,2.0,NULL,NULL);
INSERT INTO "forecast_day" VALUES('2032-02-28',NULL,7.5,12.7,3.0,NULL,NULL);
INSERT INTO "forecast_day" VALUES('2032-02-29',3.00000000000000044408e-01,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "forecast_day" VALUES('2032-03-01',2.0,9.0,0.0,1.0,NULL,NULL);
INSERT INTO "forecast_day" VALUES('2032-03-02',1.0,8.0,3.3,1.5,NULL,NULL);
CREATE TABLE forecast_note (
  position INTEGER PRIMARY KEY,
  note TEXT NOT NULL
) STRICT;
INSERT INTO "forecast_note" VALUES(0,'one gap');
INSERT INTO "forecast_note" VALUES(1,'second note');
CREATE TABLE household (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  note TEXT NOT NULL
) STRICT;
INSERT INTO "household" VALUES('next-door',0,'Next door','');
CREATE TABLE household_taking (
  household TEXT NOT NULL REFERENCES household (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  item TEXT NOT NULL,
  amount REAL NOT NULL,
  unit TEXT NOT NULL,
  species TEXT,
  PRIMARY KEY (household, position)
) STRICT;
INSERT INTO "household_taking" VALUES('next-door',0,'sawdust-spawn',1.25,'kg','king-stropharia');
CREATE TABLE identity_check (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  patch TEXT NOT NULL REFERENCES patch (key) DEFERRABLE INITIALLY DEFERRED,
  species TEXT NOT NULL,
  day TEXT NOT NULL,
  checked_by TEXT NOT NULL,
  print_color TEXT NOT NULL,
  text TEXT NOT NULL,
  entered_at TEXT,
  revision INTEGER NOT NULL
, print_laid_at TEXT, print_read_at TEXT, second_look_by TEXT NOT NULL DEFAULT '') STRICT;
INSERT INTO "identity_check" VALUES('check-1',0,'quince','king-stropharia','2031-09-15','Two of us','violet-black','„Ring“ ½ 🍄','2031-09-15T19:30:00-05:00',1,'2031-09-15T20:05:30-05:00','2031-09-16T07:06:00-05:00','Näckrosen Society');
INSERT INTO "identity_check" VALUES('check-2',1,'wall','oyster','2031-09-16','','','',NULL,1,NULL,NULL,'');
CREATE TABLE jar (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  kind TEXT NOT NULL,
  species TEXT NOT NULL,
  made_on TEXT NOT NULL,
  mass_kg REAL NOT NULL,
  best_by TEXT NOT NULL,
  kept_at_c REAL NOT NULL,
  humidity REAL,
  text TEXT NOT NULL,
  revision INTEGER NOT NULL
) STRICT;
INSERT INTO "jar" VALUES('jar-1',0,'Caps of September','dried','king-stropharia','2031-09-16',0.085,'2032-09-16',16.5,0.42,'top shelf',1);
INSERT INTO "jar" VALUES('pack-1',1,'Pack','frozen','oyster','2031-09-17',0.25,'2032-06-01',18.0,NULL,'',1);
CREATE TABLE jar_pick (
  jar TEXT NOT NULL REFERENCES jar (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  pick TEXT NOT NULL,
  PRIMARY KEY (jar, position)
) STRICT;
INSERT INTO "jar_pick" VALUES('jar-1',0,'pick-2');
CREATE TABLE kept_outlook (
  made_on TEXT NOT NULL,
  patch TEXT NOT NULL,
  position INTEGER NOT NULL,
  model_version TEXT NOT NULL,
  told TEXT NOT NULL,
  PRIMARY KEY (made_on, patch)
) STRICT;
INSERT INTO "kept_outlook" VALUES('2031-09-20','quince',0,'0.4.0','{"first": [3, 9, 21]}');
INSERT INTO "kept_outlook" VALUES('2031-09-20','wall',1,'0.4.0','{}');
CREATE TABLE layer (
  patch TEXT NOT NULL REFERENCES recipe (patch) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  is_skin INTEGER NOT NULL CHECK (is_skin IN (0, 1)),
  material TEXT NOT NULL,
  thickness_m REAL NOT NULL,
  start_moisture TEXT NOT NULL,
  PRIMARY KEY (patch, position)
) STRICT;
INSERT INTO "layer" VALUES('quince',0,0,'hardwood-chips',0.0508,'soaked');
INSERT INTO "layer" VALUES('quince',1,0,'wheat-straw',0.0381,'soaked');
INSERT INTO "layer" VALUES('quince',2,0,'hardwood-chips',0.0508,'damp');
INSERT INTO "layer" VALUES('quince',3,1,'bark-fines',0.0127,'damp');
INSERT INTO "layer" VALUES('wall',0,0,'wheat-straw',0.12,'damp');
CREATE TABLE layer_wood (
  patch TEXT NOT NULL,
  layer INTEGER NOT NULL,
  position INTEGER NOT NULL,
  wood TEXT NOT NULL,
  PRIMARY KEY (patch, layer, position),
  FOREIGN KEY (patch, layer) REFERENCES layer (patch, position)
    ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED
) STRICT;
INSERT INTO "layer_wood" VALUES('quince',0,0,'red-oak');
INSERT INTO "layer_wood" VALUES('quince',0,1,'sugar-maple');
CREATE TABLE log_entry (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  patch TEXT NOT NULL REFERENCES patch (key) DEFERRABLE INITIALLY DEFERRED,
  day TEXT NOT NULL,
  kind TEXT NOT NULL,
  litres REAL,
  mass_kg REAL,
  share REAL,
  text TEXT NOT NULL
, sight TEXT, count INTEGER, material TEXT NOT NULL DEFAULT '', thickness_m REAL, to_patch TEXT NOT NULL DEFAULT '', entered_at TEXT, entered_by TEXT NOT NULL DEFAULT '', revision INTEGER NOT NULL DEFAULT 0, stage TEXT) STRICT;
INSERT INTO "log_entry" VALUES('built-1',0,'quince','2031-04-14','built',NULL,NULL,NULL,'Damp morning: „Höhe“ 5′ ½ 🍄',NULL,NULL,'',NULL,'',NULL,'',1,NULL);
INSERT INTO "log_entry" VALUES('water-1',1,'quince','2031-05-03','watered',37.85,NULL,NULL,'',NULL,NULL,'',NULL,'',NULL,'',1,NULL);
INSERT INTO "log_entry" VALUES('look-1',2,'quince','2031-06-20','looked',NULL,NULL,0.6,'',NULL,NULL,'',NULL,'',NULL,'',1,NULL);
INSERT INTO "log_entry" VALUES('pick-1',3,'quince','2031-09-12','picked',NULL,0.567,NULL,'',NULL,NULL,'',NULL,'',NULL,'',1,NULL);
INSERT INTO "log_entry" VALUES('look-2',4,'quince','2031-09-14','looked',NULL,NULL,0.9,'','pins',NULL,'',NULL,'','2031-09-14T18:05:30-05:00','Gray phone',1,NULL);
INSERT INTO "log_entry" VALUES('pick-2',5,'quince','2031-09-15','picked',NULL,1.25,NULL,'„Höhe“ ½ 🍄',NULL,7,'',NULL,'','2031-09-15T18:05:30-05:00','',1,'closed');
INSERT INTO "log_entry" VALUES('top-1',6,'quince','2031-09-16','topped_up',NULL,NULL,NULL,'',NULL,NULL,'hardwood-chips',0.025,'',NULL,'',1,NULL);
INSERT INTO "log_entry" VALUES('move-1',7,'quince','2031-09-17','moved',4.5,NULL,NULL,'',NULL,NULL,'',NULL,'wall',NULL,'',1,NULL);
CREATE TABLE log_photo (
  entry TEXT NOT NULL REFERENCES log_entry (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  photo TEXT NOT NULL,
  PRIMARY KEY (entry, position)
) STRICT;
INSERT INTO "log_photo" VALUES('look-2',0,'photo-1');
CREATE TABLE log_sign (
  entry TEXT NOT NULL REFERENCES log_entry (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  sign TEXT NOT NULL,
  PRIMARY KEY (entry, position)
) STRICT;
INSERT INTO "log_sign" VALUES('look-2',0,'green-mold');
INSERT INTO "log_sign" VALUES('look-2',1,'dry-crust');
CREATE TABLE look_rules (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  greatest_depth_m REAL,
  authority TEXT NOT NULL
) STRICT;
INSERT INTO "look_rules" VALUES(1,0.1,'Rules of the row, article 4: „tidy“');
CREATE TABLE look_skin (
  position INTEGER PRIMARY KEY,
  material TEXT NOT NULL
) STRICT;
INSERT INTO "look_skin" VALUES(0,'bark-fines');
INSERT INTO "look_skin" VALUES(1,'leaf-mold');
CREATE TABLE lot (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  kind TEXT NOT NULL,
  material TEXT NOT NULL,
  heap_shape TEXT,
  heap_width_m REAL,
  heap_height_m REAL,
  heap_length_m REAL,
  heap_count REAL,
  heap_each_l REAL,
  mass_kg REAL,
  pieces REAL NOT NULL,
  piece_kg REAL,
  packing TEXT NOT NULL,
  since TEXT,
  moisture TEXT,
  species TEXT,
  kept_at_c REAL,
  note TEXT NOT NULL
) STRICT;
INSERT INTO "lot" VALUES('oak-heap',0,'Oak heap by the gate','chips','hardwood-chips','cone',2.4,1.1,0.0,0.0,0.0,NULL,0.0,NULL,'twiggy_heap','2031-08-02','damp',NULL,NULL,'„Höhe“ ½ of the tree 🍄');
INSERT INTO "lot" VALUES('bales',1,'Bales','straw','wheat-straw',NULL,NULL,NULL,NULL,NULL,NULL,NULL,3.0,16.5,'twiggy_heap',NULL,NULL,NULL,NULL,'');
INSERT INTO "lot" VALUES('brush',2,'Prunings','brush','twig-chips',NULL,NULL,NULL,NULL,NULL,NULL,NULL,0.0,NULL,'twiggy_heap',NULL,NULL,NULL,NULL,'');
INSERT INTO "lot" VALUES('bag',3,'Bag of spawn','spawn','sawdust-spawn',NULL,NULL,NULL,NULL,NULL,NULL,2.5,0.0,NULL,'twiggy_heap','2031-09-01',NULL,'king-stropharia',4.0,'');
CREATE TABLE lot_origin (
  lot TEXT NOT NULL REFERENCES lot (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  origin TEXT NOT NULL,
  PRIMARY KEY (lot, position)
) STRICT;
INSERT INTO "lot_origin" VALUES('oak-heap',0,'clean');
INSERT INTO "lot_origin" VALUES('bales',0,'unknown');
INSERT INTO "lot_origin" VALUES('brush',0,'unknown');
INSERT INTO "lot_origin" VALUES('bag',0,'unknown');
CREATE TABLE lot_stick (
  lot TEXT NOT NULL REFERENCES lot (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  length_m REAL NOT NULL,
  mid_diameter_m REAL NOT NULL,
  small_diameter_m REAL NOT NULL,
  large_diameter_m REAL NOT NULL,
  count INTEGER NOT NULL,
  PRIMARY KEY (lot, position)
) STRICT;
INSERT INTO "lot_stick" VALUES('brush',0,2.5,0.05,0.0,0.0,4);
CREATE TABLE lot_wood (
  lot TEXT NOT NULL REFERENCES lot (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  wood TEXT NOT NULL,
  share REAL NOT NULL,
  PRIMARY KEY (lot, position)
) STRICT;
INSERT INTO "lot_wood" VALUES('oak-heap',0,'red-oak',0.7);
INSERT INTO "lot_wood" VALUES('oak-heap',1,'silver-maple',0.2);
CREATE TABLE named_setting (
  name TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT;
INSERT INTO "named_setting" VALUES('weather_source','folder');
CREATE TABLE normals (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  source TEXT NOT NULL,
  wet_day_threshold_mm REAL NOT NULL
) STRICT;
INSERT INTO "normals" VALUES(1,'made up for the tests',0.25);
CREATE TABLE normals_month (
  month INTEGER PRIMARY KEY CHECK (month BETWEEN 1 AND 12),
  temperature_min_c REAL NOT NULL,
  temperature_max_c REAL NOT NULL,
  rain_mm REAL NOT NULL,
  wet_days REAL
) STRICT;
INSERT INTO "normals_month" VALUES(1,-6.0,4.0,50.0,7.0);
INSERT INTO "normals_month" VALUES(2,-4.0,7.0,55.0,7.0);
INSERT INTO "normals_month" VALUES(3,1.0,13.0,70.0,9.0);
INSERT INTO "normals_month" VALUES(4,7.0,19.0,105.0,10.0);
INSERT INTO "normals_month" VALUES(5,12.0,24.0,125.0,11.0);
INSERT INTO "normals_month" VALUES(6,17.0,29.0,115.0,9.0);
INSERT INTO "normals_month" VALUES(7,20.0,32.0,100.0,8.0);
INSERT INTO "normals_month" VALUES(8,19.0,31.0,95.0,8.0);
INSERT INTO "normals_month" VALUES(9,14.0,27.0,95.0,7.0);
INSERT INTO "normals_month" VALUES(10,8.0,20.0,80.0,8.0);
INSERT INTO "normals_month" VALUES(11,2.0,13.0,75.0,8.0);
INSERT INTO "normals_month" VALUES(12,-4.0,6.0,60.0,8.0);
CREATE TABLE offer (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  seller TEXT NOT NULL REFERENCES seller (key) DEFERRABLE INITIALLY DEFERRED,
  item TEXT NOT NULL,
  size REAL NOT NULL,
  unit TEXT NOT NULL,
  price_cents INTEGER,
  most INTEGER,
  currency TEXT NOT NULL,
  name TEXT NOT NULL,
  species TEXT
) STRICT;
INSERT INTO "offer" VALUES('valley-1',0,'valley','sawdust-spawn',2.5,'kg',2795,4,'USD','','king-stropharia');
INSERT INTO "offer" VALUES('valley-2',1,'valley','wheat-straw',1.0,'pieces',NULL,NULL,'EUR','',NULL);
CREATE TABLE own_layer (
  recipe TEXT NOT NULL REFERENCES own_recipe (name) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  is_skin INTEGER NOT NULL CHECK (is_skin IN (0, 1)),
  material TEXT NOT NULL,
  thickness_m REAL NOT NULL,
  start_moisture TEXT NOT NULL,
  PRIMARY KEY (recipe, position)
) STRICT;
INSERT INTO "own_layer" VALUES('Our own',0,0,'hardwood-chips',0.08,'damp');
CREATE TABLE own_layer_wood (
  recipe TEXT NOT NULL,
  layer INTEGER NOT NULL,
  position INTEGER NOT NULL,
  wood TEXT NOT NULL,
  PRIMARY KEY (recipe, layer, position),
  FOREIGN KEY (recipe, layer) REFERENCES own_layer (recipe, position)
    ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED
) STRICT;
CREATE TABLE own_plane (
  recipe TEXT NOT NULL REFERENCES own_recipe (name) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  spawn TEXT NOT NULL,
  height_m REAL NOT NULL,
  rate_kg_m2 REAL NOT NULL,
  points_per_m2 REAL NOT NULL,
  PRIMARY KEY (recipe, position)
) STRICT;
CREATE TABLE own_recipe (
  name TEXT PRIMARY KEY,
  position INTEGER NOT NULL
) STRICT;
INSERT INTO "own_recipe" VALUES('Our own',0);
CREATE TABLE patch (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  revision INTEGER NOT NULL,
  name TEXT NOT NULL,
  species TEXT NOT NULL,
  area_m2 REAL NOT NULL,
  built_on TEXT,
  stage TEXT NOT NULL,
  bed TEXT REFERENCES bed (key) DEFERRABLE INITIALLY DEFERRED,
  rain_share REAL NOT NULL,
  shelter REAL NOT NULL,
  watering_rule TEXT NOT NULL,
  watering_below_moisture REAL NOT NULL,
  watering_depth_mm REAL NOT NULL,
  watering_rest_days INTEGER NOT NULL,
  watering_past_as_rule INTEGER NOT NULL CHECK (watering_past_as_rule IN (0, 1))
) STRICT;
INSERT INTO "patch" VALUES('quince',0,1,'Under the quince','king-stropharia',2.97289728,'2031-04-14','built','quince-bed',0.8,0.5,'when_dry',0.5,12.0,4,1);
INSERT INTO "patch" VALUES('wall',1,1,'Along the wall','oyster',1.5,NULL,'planned',NULL,1.0,0.3,'none',0.55,10.0,3,0);
CREATE TABLE patch_corner (
  patch TEXT NOT NULL REFERENCES patch (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  PRIMARY KEY (patch, position)
) STRICT;
INSERT INTO "patch_corner" VALUES('quince',0,0.5,0.25);
INSERT INTO "patch_corner" VALUES('quince',1,3.5,0.25);
INSERT INTO "patch_corner" VALUES('quince',2,3.5,1.25);
INSERT INTO "patch_corner" VALUES('quince',3,0.5,1.25);
CREATE TABLE patch_light (
  patch TEXT NOT NULL REFERENCES patch (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  share REAL NOT NULL,
  PRIMARY KEY (patch, position)
) STRICT;
INSERT INTO "patch_light" VALUES('quince',0,0.9);
INSERT INTO "patch_light" VALUES('quince',1,0.9);
INSERT INTO "patch_light" VALUES('quince',2,0.8);
INSERT INTO "patch_light" VALUES('quince',3,0.6);
INSERT INTO "patch_light" VALUES('quince',4,0.4);
INSERT INTO "patch_light" VALUES('quince',5,0.3);
INSERT INTO "patch_light" VALUES('quince',6,0.3);
INSERT INTO "patch_light" VALUES('quince',7,0.3);
INSERT INTO "patch_light" VALUES('quince',8,0.4);
INSERT INTO "patch_light" VALUES('quince',9,0.5);
INSERT INTO "patch_light" VALUES('quince',10,0.8);
INSERT INTO "patch_light" VALUES('quince',11,0.9);
INSERT INTO "patch_light" VALUES('wall',0,0.6);
CREATE TABLE path (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL
) STRICT;
INSERT INTO "path" VALUES('front-path',0,'Front path');
CREATE TABLE path_corner (
  path TEXT NOT NULL REFERENCES path (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  PRIMARY KEY (path, position)
) STRICT;
INSERT INTO "path_corner" VALUES('front-path',0,4.5,-6.0);
INSERT INTO "path_corner" VALUES('front-path',1,5.5,-6.0);
INSERT INTO "path_corner" VALUES('front-path',2,5.5,9.0);
INSERT INTO "path_corner" VALUES('front-path',3,4.5,9.0);
CREATE TABLE photo (
  key TEXT PRIMARY KEY,
  width INTEGER NOT NULL,
  height INTEGER NOT NULL,
  taken_on TEXT,
  bytes INTEGER NOT NULL,
  thumb BLOB NOT NULL,
  jpeg BLOB NOT NULL
) STRICT;
INSERT INTO "photo" VALUES('photo-1',3,2,'2031-09-14',135,X'FFD8FFE000104A46494600010100000100010000FFDB00430010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010FFC0000B080002000301011100FFC400140001000000000000000000000000000000FFDA0008010100003F00FFD9',X'FFD8FFE000104A46494600010100000100010000FFDB00430010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010101010FFC0000B080002000301011100FFC400140001000000000000000000000000000000FFDA0008010100003F00FFD9');
CREATE TABLE pick_use (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  day TEXT NOT NULL,
  fate TEXT NOT NULL,
  mass_kg REAL NOT NULL,
  pick TEXT REFERENCES log_entry (key) DEFERRABLE INITIALLY DEFERRED,
  jar TEXT REFERENCES jar (key) DEFERRABLE INITIALLY DEFERRED,
  checked_in TEXT REFERENCES identity_check (key) DEFERRABLE INITIALLY DEFERRED,
  went_into TEXT REFERENCES jar (key) DEFERRABLE INITIALLY DEFERRED,
  text TEXT NOT NULL,
  entered_at TEXT,
  revision INTEGER NOT NULL,
  CHECK ((pick IS NULL) <> (jar IS NULL))
) STRICT;
INSERT INTO "pick_use" VALUES('use-1',0,'2031-09-15','chill',1.25,'pick-2',NULL,NULL,NULL,'',NULL,1);
INSERT INTO "pick_use" VALUES('use-2',1,'2031-09-15','dry',0.9,'pick-2',NULL,'check-1','jar-1','the caps','2031-09-15T19:30:00-05:00',1);
INSERT INTO "pick_use" VALUES('use-3',2,'2031-09-16','discard',0.1,'pick-2',NULL,NULL,NULL,'',NULL,1);
INSERT INTO "pick_use" VALUES('use-4',3,'2031-11-02','eat',0.03,NULL,'jar-1','check-1',NULL,'',NULL,1);
CREATE TABLE place (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  name TEXT NOT NULL,
  latitude_deg REAL NOT NULL,
  longitude_deg REAL NOT NULL,
  elevation_m REAL NOT NULL,
  timezone TEXT NOT NULL,
  north_deg REAL NOT NULL
) STRICT;
INSERT INTO "place" VALUES(1,'Tern Hollow',38.9,-92.2,230.124,'America/Chicago',12.5);
CREATE TABLE plane (
  patch TEXT NOT NULL REFERENCES recipe (patch) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  spawn TEXT NOT NULL,
  height_m REAL NOT NULL,
  rate_kg_m2 REAL NOT NULL,
  points_per_m2 REAL NOT NULL,
  PRIMARY KEY (patch, position)
) STRICT;
INSERT INTO "plane" VALUES('quince',0,'sawdust-spawn',0.0508,0.275,0.0);
INSERT INTO "plane" VALUES('quince',1,'peg-spawn',0.0889,0.0,40.0);
CREATE TABLE reading (
  day TEXT PRIMARY KEY,
  rain_mm REAL,
  temperature_min_c REAL,
  temperature_max_c REAL,
  entered_at TEXT,
  revision INTEGER NOT NULL
) STRICT;
INSERT INTO "reading" VALUES('2031-09-13',12.7,NULL,NULL,NULL,1);
INSERT INTO "reading" VALUES('2031-09-14',0.0,11.5,24.25,'2031-09-14T18:05:30-05:00',1);
CREATE TABLE recipe (
  patch TEXT PRIMARY KEY REFERENCES patch (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  name TEXT NOT NULL
) STRICT;
INSERT INTO "recipe" VALUES('quince','Chips, straw, chips');
INSERT INTO "recipe" VALUES('wall','Straw alone');
CREATE TABLE seller (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  delivery_cents INTEGER NOT NULL,
  free_from_cents INTEGER,
  minimum_cents INTEGER NOT NULL,
  delivery_days INTEGER,
  note TEXT NOT NULL
) STRICT;
INSERT INTO "seller" VALUES('valley',0,'Valley spawn',1450,9000,2000,6,'');
CREATE TABLE settings (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  units TEXT NOT NULL,
  hose_litres_per_minute REAL NOT NULL,
  stands_at TEXT
, can_litres REAL NOT NULL DEFAULT 10.0) STRICT;
INSERT INTO "settings" VALUES(1,'us',11.5,'2031-09-20',7.5);
CREATE TABLE survey (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  revision INTEGER NOT NULL,
  baseline_first TEXT NOT NULL REFERENCES survey_point (key) DEFERRABLE INITIALLY DEFERRED,
  baseline_second TEXT NOT NULL REFERENCES survey_point (key) DEFERRABLE INITIALLY DEFERRED,
  tape_error_m REAL NOT NULL,
  tape_error_share REAL NOT NULL
) STRICT;
INSERT INTO "survey" VALUES(1,1,'west','east',0.015,0.002);
CREATE TABLE survey_point (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  known_x_m REAL,
  known_y_m REAL,
  side TEXT
) STRICT;
INSERT INTO "survey_point" VALUES('west',0,'West corner',0.0,0.0,NULL);
INSERT INTO "survey_point" VALUES('east',1,'East corner',12.0,0.0,NULL);
INSERT INTO "survey_point" VALUES('quince',2,'The quince',NULL,NULL,'left');
INSERT INTO "survey_point" VALUES('post',3,'Fence post',NULL,NULL,NULL);
CREATE TABLE survey_reading (
  position INTEGER PRIMARY KEY,
  start_point TEXT NOT NULL REFERENCES survey_point (key) DEFERRABLE INITIALLY DEFERRED,
  end_point TEXT NOT NULL REFERENCES survey_point (key) DEFERRABLE INITIALLY DEFERRED,
  distance_m REAL NOT NULL
) STRICT;
INSERT INTO "survey_reading" VALUES(0,'west','quince',10.02);
INSERT INTO "survey_reading" VALUES(1,'east','quince',7.21);
INSERT INTO "survey_reading" VALUES(2,'quince','post',3.3);
CREATE TABLE tap (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  reach_m REAL NOT NULL,
  litres_per_minute REAL NOT NULL
) STRICT;
INSERT INTO "tap" VALUES('kitchen-tap',0,'Kitchen tap',4.05,-2.0,18.0,9.5);
CREATE TABLE "undo_part" (
  step INTEGER NOT NULL REFERENCES undo_step (step) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  noun TEXT NOT NULL,
  key TEXT NOT NULL,
  before TEXT,
  after TEXT,
  place INTEGER,
  place_before INTEGER,
  PRIMARY KEY (step, position)
) STRICT;
INSERT INTO "undo_part" VALUES(3,0,'entry','pick-3',NULL,'{"key": "pick-3", "patch": "quince", "day": "2031-09-18", "kind": "picked", "litres": null, "mass_kg": 0.4, "share": null, "text": "", "sight": null, "count": null, "material": "", "thickness_m": null, "to_patch": "", "signs": [], "photos": [], "entered_at": null, "by": "", "stage": null}',8,NULL);
INSERT INTO "undo_part" VALUES(4,0,'entry','pick-3','{"key": "pick-3", "patch": "quince", "day": "2031-09-18", "kind": "picked", "litres": null, "mass_kg": 0.4, "share": null, "text": "", "sight": null, "count": null, "material": "", "thickness_m": null, "to_patch": "", "signs": [], "photos": [], "entered_at": null, "by": "", "stage": null}',NULL,NULL,8);
INSERT INTO "undo_part" VALUES(5,0,'year_cost','2030','{"year": 2030, "money_cents": null, "hours": 41.25}',NULL,NULL,NULL);
INSERT INTO "undo_part" VALUES(6,0,'year_cost','2030',NULL,'{"year": 2030, "money_cents": null, "hours": 41.25}',NULL,NULL);
CREATE TABLE undo_step (
  step INTEGER PRIMARY KEY,
  what TEXT NOT NULL,
  taken_back_by INTEGER
) STRICT;
INSERT INTO "undo_step" VALUES(3,'the pick of 18 September 2031 at Under the quince added',NULL);
INSERT INTO "undo_step" VALUES(4,'the pick of 18 September 2031 at Under the quince removed',NULL);
INSERT INTO "undo_step" VALUES(5,'the money and hours of 2030 removed',6);
INSERT INTO "undo_step" VALUES(6,'taken back: the money and hours of 2030 removed',NULL);
CREATE TABLE vessel (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  volume_l REAL NOT NULL,
  count INTEGER NOT NULL
) STRICT;
INSERT INTO "vessel" VALUES('old-tub',0,'old tub',120.0,2);
CREATE TABLE wall (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  height_m REAL NOT NULL,
  house INTEGER NOT NULL CHECK (house IN (0, 1))
) STRICT;
INSERT INTO "wall" VALUES('house',0,'House',6.4,1);
INSERT INTO "wall" VALUES('fence',1,'Back fence',1.8,0);
CREATE TABLE wall_corner (
  wall TEXT NOT NULL REFERENCES wall (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  PRIMARY KEY (wall, position)
) STRICT;
INSERT INTO "wall_corner" VALUES('house',0,-8.0,-6.0);
INSERT INTO "wall_corner" VALUES('house',1,4.0,-6.0);
INSERT INTO "wall_corner" VALUES('house',2,4.0,-0.5);
INSERT INTO "wall_corner" VALUES('house',3,-8.0,-0.5);
INSERT INTO "wall_corner" VALUES('fence',0,-8.0,12.0);
INSERT INTO "wall_corner" VALUES('fence',1,9.0,12.0);
INSERT INTO "wall_corner" VALUES('fence',2,9.0,12.1);
INSERT INTO "wall_corner" VALUES('fence',3,-8.0,12.1);
CREATE TABLE weather (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  source TEXT NOT NULL,
  station TEXT NOT NULL,
  licence TEXT NOT NULL,
  file_name TEXT NOT NULL,
  seen_on TEXT,
  has_wind INTEGER NOT NULL CHECK (has_wind IN (0, 1)),
  has_vapour_pressure INTEGER NOT NULL CHECK (has_vapour_pressure IN (0, 1)),
  has_solar_radiation INTEGER NOT NULL CHECK (has_solar_radiation IN (0, 1)),
  mapping TEXT
) STRICT;
INSERT INTO "weather" VALUES(1,'made up for the tests','TH000001','public domain','tern-hollow.csv','2032-03-05',1,0,1,'{"rain": "PRCP"}');
CREATE TABLE weather_column (
  position INTEGER PRIMARY KEY,
  quantity TEXT NOT NULL UNIQUE,
  column_name TEXT NOT NULL
) STRICT;
INSERT INTO "weather_column" VALUES(0,'rain_mm','PRCP');
INSERT INTO "weather_column" VALUES(1,'temperature_min_c','TMIN');
CREATE TABLE weather_day (
  day TEXT PRIMARY KEY,
  temperature_min_c REAL,
  temperature_max_c REAL,
  rain_mm REAL,
  wind_m_s REAL,
  vapour_pressure_pa REAL,
  solar_radiation_j_m2 REAL
) STRICT;
INSERT INTO "weather_day" VALUES('2032-02-27',-3.1,6.0,0.0,2.0,NULL,NULL);
INSERT INTO "weather_day" VALUES('2032-02-28',NULL,7.5,12.7,3.0,NULL,NULL);
INSERT INTO "weather_day" VALUES('2032-02-29',3.00000000000000044408e-01,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "weather_day" VALUES('2032-03-01',2.0,9.0,0.0,1.0,NULL,NULL);
INSERT INTO "weather_day" VALUES('2032-03-02',1.0,8.0,3.3,1.5,NULL,NULL);
CREATE TABLE weather_note (
  position INTEGER PRIMARY KEY,
  note TEXT NOT NULL
) STRICT;
INSERT INTO "weather_note" VALUES(0,'one gap');
INSERT INTO "weather_note" VALUES(1,'second note');
CREATE TABLE write_mark (
  mark TEXT PRIMARY KEY,
  kept_from TEXT NOT NULL,
  content TEXT NOT NULL,
  revision INTEGER NOT NULL,
  keys TEXT NOT NULL,
  what TEXT NOT NULL
) STRICT;
CREATE TABLE year_cost (
  year INTEGER PRIMARY KEY,
  money_cents INTEGER,
  hours REAL,
  revision INTEGER NOT NULL
) STRICT;
INSERT INTO "year_cost" VALUES(2030,NULL,41.25,6);
INSERT INTO "year_cost" VALUES(2031,8050,12.5,1);
CREATE TABLE zone (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  kind TEXT NOT NULL
) STRICT;
INSERT INTO "zone" VALUES('strip',0,'Strip by the street','seen_from_street');
INSERT INTO "zone" VALUES('potatoes',1,'Potatoes','dug_over');
CREATE TABLE zone_corner (
  zone TEXT NOT NULL REFERENCES zone (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  PRIMARY KEY (zone, position)
) STRICT;
INSERT INTO "zone_corner" VALUES('strip',0,6.0,-6.0);
INSERT INTO "zone_corner" VALUES('strip',1,9.0,-6.0);
INSERT INTO "zone_corner" VALUES('strip',2,9.0,0.0);
INSERT INTO "zone_corner" VALUES('potatoes',0,-7.0,9.0);
INSERT INTO "zone_corner" VALUES('potatoes',1,-2.0,9.0);
INSERT INTO "zone_corner" VALUES('potatoes',2,-2.0,11.5);
COMMIT;
