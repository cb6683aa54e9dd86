from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("survey", "0014_objects_keep_what_they_say"),
    ]

    operations = [
        migrations.AddField(
            model_name="jointrisk",
            name="nitrate_ageing",
            field=models.FloatField(
                help_text="Chance to be of cellulose nitrate and past the sound stage today; empty in old runs",
                null=True,
            ),
        ),
        migrations.AddIndex(
            model_name="jointrisk",
            index=models.Index(fields=["run", "-nitrate_ageing", "joint"], name="joint_risk_ageing_nitrate"),
        ),
    ]
