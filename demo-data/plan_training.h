/* A pelvic floor and one session of training it. */
#ifndef DEMO_DATA_PLAN_TRAINING_H
#define DEMO_DATA_PLAN_TRAINING_H

enum plan_training_sensor {
    PLAN_TRAINING_EMG,     /* vaginal or surface electrodes, an envelope in uV */
    PLAN_TRAINING_PRESSURE /* vaginal pressure, cmH2O */
};

/* Values are in the unit of the sensor. */
struct plan_training {
    enum plan_training_sensor sensor;
    double rest;
    double quick_rise; /* of quick contractions above rest */
    double long_rise;
    double hold_s; /* until a long contraction has fallen to 60 % */
    int quick_count;
    double quick_period_s;
    int long_count;
    double work_s; /* commanded; 0: no long contractions */
    double rest_s;
    double endurance_s;   /* one more, as long as it can be held; 0: none */
    int missed;           /* commands that the person does not follow, the last ones */
    double abdomen_cmh2o; /* the belly's part in every contraction; 0: not recorded */
};

#endif
